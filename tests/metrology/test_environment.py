"""Readings of a room: order, gaps, means, shares and excursions."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from lab.metrology.environment import (
    Band,
    ExcursionSide,
    Readings,
    Window,
    conditions_over,
    excursions,
    gaps_in,
    ordered_readings,
    straight_pieces,
)
from lab.metrology.errors import BadShape, NotFinite, OutOfDomain, TooFew
from tests.metrology.room_series import BAND, STEP_S, rooms, series


class TestOrder:
    @given(st.permutations(range(6)))
    def test_order_does_not_matter(self, order: list[int]) -> None:
        times = np.array([0.0, 60.0, 60.0, 120.0, 180.0, 180.0])
        values = np.array([20.0, 20.1, 20.1, 20.2, 20.0, 21.0])
        found = ordered_readings(times[order], values[order])
        assert found.readings.times_s.tolist() == [0.0, 60.0, 120.0, 180.0]
        assert found.readings.values.tolist() == [20.0, 20.1, 20.2, 20.5]
        assert found.repeated == 1
        assert found.conflicting_times_s.tolist() == [180.0]
        assert found.widest_conflict == 1.0

    @given(st.lists(st.tuples(st.integers(0, 9), st.integers(0, 3)), max_size=30))
    def test_nothing_is_dropped_silently(self, pairs: list[tuple[int, int]]) -> None:
        found = ordered_readings([p[0] for p in pairs], [p[1] for p in pairs])
        assert found.repeated == len(pairs) - len(set(pairs))
        assert len(found.readings.times_s) == len({p[0] for p in pairs})
        several = {t for t, _ in pairs if len({v for s, v in pairs if s == t}) > 1}
        assert set(found.conflicting_times_s.tolist()) == several

    def test_disorder_is_counted(self) -> None:
        assert ordered_readings([3, 1, 2], [0, 0, 0]).out_of_order == 1
        assert ordered_readings([1, 2, 3], [0, 0, 0]).out_of_order == 0

    def test_refusals(self) -> None:
        with pytest.raises(NotFinite, match="values holds 1 value"):
            ordered_readings([1, 2], [20.0, math.nan])
        with pytest.raises(BadShape, match="times_s has 2, values has 1"):
            ordered_readings([1, 2], [20.0])
        with pytest.raises(OutOfDomain, match="does not rise strictly"):
            series((0, 20), (0, 21))


class TestPieces:
    def test_gaps_are_never_bridged(self) -> None:
        room = series((0, 20), (600, 21), (6000, 30), (6600, 20))
        pieces = straight_pieces(room, [Window(0, 7000)], STEP_S)
        assert pieces.starts_s.tolist() == [0.0, 6000.0]
        gaps = gaps_in(room, [Window(0, 7000)], STEP_S)
        assert [(g.start_s, g.end_s, g.is_too_long) for g in gaps] == [
            (600.0, 6000.0, True),
            (6600.0, 7000.0, False),
        ]

    @given(rooms(), st.floats(-500, 20_000), st.floats(1.0, 30_000.0))
    def test_covered_time_and_gaps_make_up_the_window(
        self, room: Readings, start: float, length: float
    ) -> None:
        windows = [Window(start, start + length)]
        covered = straight_pieces(room, windows, STEP_S).lengths_s.sum()
        missing = sum(gap.length_s for gap in gaps_in(room, windows, STEP_S))
        assert covered + missing == pytest.approx(length, abs=1e-6)

    @given(rooms(), st.floats(1.0, 15_000.0))
    def test_cutting_a_window_in_two_changes_nothing(
        self, room: Readings, cut: float
    ) -> None:
        whole = conditions_over(room, [Window(0, 20_000)], STEP_S, BAND)
        parts = conditions_over(
            room, [Window(0, cut), Window(cut, 20_000)], STEP_S, BAND
        )
        assert parts.covered_s == pytest.approx(whole.covered_s, abs=1e-6)
        if whole.mean is not None and parts.mean is not None:
            assert parts.mean == pytest.approx(whole.mean, abs=1e-9)

    def test_refusals(self) -> None:
        room = series((0, 20), (600, 21))
        with pytest.raises(TooFew, match="windows is empty"):
            straight_pieces(room, [], STEP_S)
        with pytest.raises(OutOfDomain, match="overlaps the one before it"):
            gaps_in(room, [Window(0, 100), Window(50, 200)], STEP_S)
        with pytest.raises(OutOfDomain, match="longest_step_s is 0"):
            straight_pieces(room, [Window(0, 1)], 0.0)
        with pytest.raises(OutOfDomain, match="empty or upside down"):
            Window(5.0, 5.0)


def sampled(room: Readings, window: Window, count: int = 40_000):
    """Sample the straight pieces finely instead of integrating them."""
    times = window.start_s + (np.arange(count) + 0.5) * window.length_s / count
    after = np.searchsorted(room.times_s, times)
    is_between = (after > 0) & (after < len(room.times_s))
    steps = np.diff(room.times_s, prepend=-np.inf)
    is_between &= steps[np.minimum(after, len(steps) - 1)] <= STEP_S
    return np.interp(times[is_between], room.times_s, room.values)


class TestConditions:
    @given(rooms())
    def test_against_fine_sampling(self, room: Readings) -> None:
        window = Window(-100.0, float(room.times_s[-1]) + 100.0)
        found = conditions_over(room, [window], STEP_S, BAND)
        fine = sampled(room, window)
        if found.mean is None:
            assert len(fine) == 0
            return
        # 40,000 samples over at most 35 h are 3 s apart: 60 s pieces are off by
        # a few per cent at their ends, of few pieces among few.
        assert found.mean == pytest.approx(fine.mean(), abs=0.02)
        inside = np.mean((fine >= 19.5) & (fine <= 20.5))
        assert found.share_inside == pytest.approx(inside, abs=0.02)
        assert found.share_covered == pytest.approx(len(fine) / 40_000, abs=0.002)

    def test_weight_is_time_and_not_the_number_of_readings(self) -> None:
        """A burst of readings while the door is open doesn't move the mean."""
        calm = [(t, 20.0) for t in range(0, 3601, 600)]
        burst = [(t, 20.0) for t in range(0, 3601, 5)]
        for pairs in (calm, burst):
            room = series(*[(t, v + (1.0 if t == 1800 else 0.0)) for t, v in pairs])
            found = conditions_over(room, [Window(0, 3600)], STEP_S)
            step = pairs[1][0]
            assert found.mean == pytest.approx(20.0 + step / 3600, abs=1e-12)

    def test_pauses_do_not_count(self) -> None:
        room = series(
            (0, 20), (600, 20), (1200, 26), (1800, 26), (2400, 20), (3000, 20)
        )
        found = conditions_over(
            room, [Window(0, 600), Window(2400, 3000)], STEP_S, BAND
        )
        assert found.length_s == 1200
        assert found.mean == 20.0
        assert found.share_inside == 1.0

    def test_unknown_time_is_not_called_inside(self) -> None:
        room = series((0, 20), (600, 20))
        found = conditions_over(room, [Window(0, 1200)], STEP_S, BAND)
        assert found.share_inside == 1.0
        assert found.share_covered == found.share_known_inside == 0.5
        assert found.longest_gap_s == 600.0

    def test_nothing_known(self) -> None:
        for room in (Readings(np.empty(0), np.empty(0)), series((0, 20), (9000, 20))):
            found = conditions_over(room, [Window(1000, 2000)], STEP_S, BAND)
            assert found.mean is None
            assert found.lowest is None
            assert found.share_inside is None
            assert found.share_known_inside == 0.0
            assert found.longest_gap_s == 1000.0

    def test_a_reading_alone_is_seen_but_covers_nothing(self) -> None:
        room = series((0, 20), (9000, 23), (18_000, 20))
        found = conditions_over(room, [Window(5000, 10_000)], STEP_S, BAND)
        assert found.covered_s == 0.0
        assert found.mean is None
        assert found.highest == 23.0
        (hot,) = found.excursions
        assert (hot.start_s, hot.length_s, hot.worst) == (9000.0, 0.0, 23.0)

    def test_level_series_at_the_limit_is_inside(self) -> None:
        room = series((0, 20.5), (600, 20.5))
        found = conditions_over(room, [Window(0, 600)], STEP_S, BAND)
        assert found.share_inside == 1.0
        assert found.excursions == ()

    def test_impossible_bands(self) -> None:
        with pytest.raises(OutOfDomain, match="needs a low or a high"):
            Band(None, None)
        with pytest.raises(OutOfDomain, match="from 21 to 20 is upside down"):
            Band(21.0, 20.0)


def runs_outside(room: Readings, band: Band, side: ExcursionSide) -> list[list[int]]:
    """Group neighbouring readings outside a limit, broken by gaps, one by one."""
    runs: list[list[int]] = []
    for index, value in enumerate(room.values):
        is_out = value > band.high if side is ExcursionSide.ABOVE else value < band.low
        is_next = (
            runs
            and runs[-1][-1] == index - 1
            and room.times_s[index] - room.times_s[index - 1] <= STEP_S
        )
        if is_out and is_next:
            runs[-1].append(index)
        elif is_out:
            runs.append([index])
    return runs


class TestExcursions:
    def test_start_end_and_worst(self) -> None:
        room = series((0, 20), (600, 22), (1200, 21), (1800, 20))
        (hot,) = excursions(room, BAND, STEP_S)
        # From 20 to 22 in 600 s the limit 20.5 is crossed at 150 s.
        assert hot.start_s == pytest.approx(150.0)
        assert hot.end_s == pytest.approx(1500.0)
        assert (hot.worst, hot.worst_at_s) == (22.0, 600.0)
        assert not hot.is_cut_at_start
        assert not hot.is_cut_at_end

    @given(rooms())
    def test_against_runs_of_readings(self, room: Readings) -> None:
        found = excursions(room, BAND, STEP_S)
        for side in ExcursionSide:
            mine = [each for each in found if each.side is side]
            runs = runs_outside(room, BAND, side)
            worst_of = max if side is ExcursionSide.ABOVE else min
            assert len(mine) == len(runs)
            for each, run in zip(mine, runs, strict=True):
                assert each.worst == worst_of(room.values[run])
                assert each.start_s <= room.times_s[run[0]]
                assert each.end_s >= room.times_s[run[-1]]
                assert each.worst_at_s in room.times_s[run]

    @given(rooms())
    def test_excursions_and_time_inside_make_up_the_covered_time(
        self, room: Readings
    ) -> None:
        found = conditions_over(
            room, [Window(0.0, float(room.times_s[-1]) + 1e-6)], STEP_S, BAND
        )
        if found.share_inside is None:
            return
        outside = sum(each.length_s for each in found.excursions)
        assert outside + found.share_inside * found.covered_s == pytest.approx(
            found.covered_s, abs=1e-6
        )

    @given(rooms())
    def test_mirror_image(self, room: Readings) -> None:
        mirrored = Readings(room.times_s, 40.0 - room.values)
        plain, turned = (
            excursions(room, BAND, STEP_S),
            excursions(mirrored, BAND, STEP_S),
        )
        assert len(plain) == len(turned)
        for one, other in zip(plain, turned, strict=True):
            assert one.side is not other.side
            assert one.start_s == pytest.approx(other.start_s, abs=1e-6)

    def test_a_gap_cuts_an_excursion(self) -> None:
        room = series((0, 20), (600, 22), (6000, 22), (6600, 20))
        before, after = excursions(room, BAND, STEP_S)
        assert before.end_s == 600.0
        assert before.is_cut_at_end
        assert after.start_s == 6000.0
        assert after.is_cut_at_start

    def test_one_sided_band(self) -> None:
        room = series((0, 10), (600, 22), (1200, 10))
        (hot,) = excursions(room, Band(None, 20.5), STEP_S)
        assert hot.side is ExcursionSide.ABOVE
        assert len(excursions(room, Band(19.5, None), STEP_S)) == 2

    def test_through_the_band_in_one_step(self) -> None:
        room = series((0, 22), (600, 18), (1200, 22))
        sides = [each.side.value for each in excursions(room, BAND, STEP_S)]
        assert sides == ["above", "below", "above"]

    def test_empty(self) -> None:
        with pytest.raises(TooFew, match="readings is empty"):
            excursions(Readings(np.empty(0), np.empty(0)), BAND, STEP_S)
