"""Real loggers' files, against counts made one reading after the other.

The files are public measurement logs kept beside the project, not in it; where
they are absent these tests are skipped. What is counted here is counted without
NumPy, in plain loops, so that it shares nothing with what it checks.
"""

from __future__ import annotations

import csv
from collections.abc import Iterator
from datetime import UTC, datetime
from itertools import pairwise

import numpy as np
import pytest

from lab.metrology.environment import (
    Band,
    ExcursionSide,
    Readings,
    Window,
    conditions_over,
    excursions,
    gaps_in,
    ordered_readings,
    picture_of,
    rate_of_change,
    spatial_gradient,
)
from tests.conftest import SHARED_DATA, skip_unless

# File, column of the time and of the values, limits in °C, and the longest step
# that is no gap, a little over the loggers' own step.
LOGS = {
    "occupancy": ("occupancy_datatraining.csv", 1, 2, Band(20.0, 22.0), 90.0),
    "appliances": ("appliances_testing.csv", 0, 3, Band(19.0, 22.5), 3700.0),
    "office": ("nab_ambient_temperature_office.csv", 0, 1, Band(19.0, 24.0), 3660.0),
}


def rows_of(name: str) -> Iterator[list[str]]:
    path = SHARED_DATA / "env" / name
    skip_unless(path.exists(), "shared", f"the logger's file {name} is not here.")
    with path.open(newline="", encoding="utf-8") as file:
        reader = csv.reader(file)
        next(reader)
        yield from reader


def seconds(text: str) -> float:
    return datetime.strptime(text, "%Y-%m-%d %H:%M:%S").replace(tzinfo=UTC).timestamp()


def pairs_of(log: str) -> list[tuple[float, float]]:
    """Read a log in °C, in the order of the file."""
    name, time_column, value_column, _, _ = LOGS[log]
    pairs = [
        (seconds(row[time_column]), float(row[value_column])) for row in rows_of(name)
    ]
    if log == "office":
        pairs = [(time, (degf - 32.0) / 1.8) for time, degf in pairs]
    return pairs


def readings_of(log: str) -> Readings:
    pairs = pairs_of(log)
    return ordered_readings([p[0] for p in pairs], [p[1] for p in pairs]).readings


@pytest.mark.parametrize("log", LOGS)
def test_order_repeats_and_gaps(log: str) -> None:
    pairs = pairs_of(log)
    found = ordered_readings([p[0] for p in pairs], [p[1] for p in pairs])
    times = sorted({time for time, _ in pairs})
    assert found.readings.times_s.tolist() == times
    assert found.repeated == len(pairs) - len(set(pairs))
    step_s = LOGS[log][4]
    long_steps = [(a, b) for a, b in pairwise(times) if b - a > step_s]
    gaps = gaps_in(found.readings, [Window(times[0], times[-1])], step_s)
    assert [(gap.start_s, gap.end_s) for gap in gaps] == long_steps


def test_the_office_has_ten_gaps_and_the_longest_is_a_week() -> None:
    """What the note beside the file says of it."""
    room = readings_of("office")
    window = Window(float(room.times_s[0]), float(room.times_s[-1]))
    found = conditions_over(room, [window], LOGS["office"][4])
    assert len(found.gaps) == 10
    assert found.longest_gap_s / 3600 == pytest.approx(174.0, abs=0.5)


@pytest.mark.parametrize("log", LOGS)
def test_excursions(log: str) -> None:
    band, step_s = LOGS[log][3:]
    counted = dict.fromkeys(ExcursionSide, 0)
    worst = {ExcursionSide.ABOVE: -1e9, ExcursionSide.BELOW: 1e9}
    was_out: dict[ExcursionSide, bool] = dict.fromkeys(ExcursionSide, False)
    room = readings_of(log)
    last = None
    for time, value in zip(room.times_s.tolist(), room.values.tolist(), strict=True):
        after_gap = last is None or time - last > step_s
        for side in ExcursionSide:
            above = side is ExcursionSide.ABOVE
            is_out = value > band.high if above else value < band.low
            if is_out and (after_gap or not was_out[side]):
                counted[side] += 1
            if is_out:
                worst[side] = (
                    max(worst[side], value) if above else min(worst[side], value)
                )
            was_out[side] = is_out
        last = time
    found = excursions(room, band, step_s)
    for side in ExcursionSide:
        mine = [each for each in found if each.side is side]
        assert len(mine) == counted[side]
        values = [each.worst for each in mine]
        if values:
            assert (max if side is ExcursionSide.ABOVE else min)(values) == worst[side]
    assert sum(counted.values()) > 5  # the limits do cut through the log


@pytest.mark.parametrize("log", LOGS)
def test_mean_and_share_inside_step_by_step(log: str) -> None:
    band, step_s = LOGS[log][3:]
    room = readings_of(log)
    times, values = room.times_s.tolist(), room.values.tolist()
    # Three days somewhere in the middle, not at readings.
    window = Window(times[len(times) // 3] + 17.0, times[len(times) // 3] + 259_217.0)
    covered = area = inside = 0.0
    for a, b, v, w in zip(times, times[1:], values, values[1:], strict=False):
        start, end = max(a, window.start_s), min(b, window.end_s)
        if b - a > step_s or start >= end:
            continue
        v_start = v + (w - v) * (start - a) / (b - a)
        v_end = v + (w - v) * (end - a) / (b - a)
        covered += end - start
        area += (v_start + v_end) / 2 * (end - start)
        inside += (end - start) * share_of_line_inside(v_start, v_end, band)
    found = conditions_over(room, [window], step_s, band)
    assert found.covered_s == pytest.approx(covered, abs=1e-4)
    assert found.mean == pytest.approx(area / covered, abs=1e-9)
    assert found.share_inside == pytest.approx(inside / covered, abs=1e-9)


def share_of_line_inside(start: float, end: float, band: Band) -> float:
    """Share of a straight line from `start` to `end` that lies inside a band."""
    if start == end:
        return float(band.low <= start <= band.high)
    shares = sorted(
        min(max((limit - start) / (end - start), 0.0), 1.0)
        for limit in (band.low, band.high)
    )
    return shares[1] - shares[0]


@pytest.mark.parametrize("log", ["occupancy", "appliances"])
def test_rate_of_change_at_scattered_readings(log: str) -> None:
    step_s = LOGS[log][4]
    room = readings_of(log)
    window_s = 3600.0 if log == "occupancy" else 14_400.0
    found = rate_of_change(room, step_s, window_s=window_s)
    assert len(found.times_s) + found.left_out == len(room.times_s)
    times, values = room.times_s.tolist(), room.values.tolist()
    for end in found.times_s[:: max(1, len(found.times_s) // 50)].tolist():
        chosen = [
            (time - end, value)
            for time, value in zip(times, values, strict=True)
            if end - window_s <= time <= end
        ]
        mean_t = sum(t for t, _ in chosen) / len(chosen)
        mean_v = sum(v for _, v in chosen) / len(chosen)
        slope = sum((t - mean_t) * (v - mean_v) for t, v in chosen) / sum(
            (t - mean_t) ** 2 for t, _ in chosen
        )
        at = int(np.searchsorted(found.times_s, end))
        assert found.per_hour[at] == pytest.approx(slope * 3600, abs=1e-8)


def test_worst_rate_survives_where_a_gap_is_not_bridged() -> None:
    """Bridging the week-long gaps would change how many rates there are."""
    room = readings_of("office")
    honest = rate_of_change(room, 3660.0, window_s=4 * 3600.0)
    bridged = rate_of_change(room, 1e9, window_s=4 * 3600.0)
    assert honest.left_out > bridged.left_out


def test_nine_rooms_at_one_time() -> None:
    name, time_column, *_ = LOGS["appliances"]
    table = list(rows_of(name))
    # T1 to T9 stand in every second column, at places made up for this test.
    rooms = {
        f"T{number}": ordered_readings(
            [seconds(row[time_column]) for row in table],
            [float(row[1 + 2 * number]) for row in table],
        ).readings
        for number in range(1, 10)
    }
    places = {
        name: (1000.0 * (i % 3), 1000.0 * (i // 3), 100.0 * i)
        for i, name in enumerate(rooms)
    }
    asked = rooms["T1"].times_s[::100]
    found = spatial_gradient(rooms, places, asked, 3700.0)
    assert len(found.left_out_s) == 0  # asked at readings, which all rooms share
    for at in range(0, len(asked), 7):
        row = next(r for r in table if seconds(r[time_column]) == asked[at])
        values = [float(row[1 + 2 * number]) for number in range(1, 10)]
        assert found.spread[at] == pytest.approx(max(values) - min(values), abs=1e-12)


@pytest.mark.parametrize("log", LOGS)
def test_pictures_keep_the_extremes(log: str) -> None:
    room = readings_of(log)
    picture = picture_of(room, 200, LOGS[log][4])
    assert len(picture.readings.times_s) < len(room.times_s)
    assert picture.readings.values.max() == room.values.max()
    assert picture.readings.values.min() == room.values.min()
    assert len(picture.breaks) == int(np.sum(np.diff(room.times_s) > LOGS[log][4]))
