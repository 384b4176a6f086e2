"""Readings of a room: rates of change, sensors, gradients, pictures."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from lab.metrology.environment import (
    Readings,
    SensorCalibration,
    Window,
    buckets,
    corrected_readings,
    picture_of,
    rate_of_change,
    spatial_gradient,
)
from lab.metrology.errors import BadShape, OutOfDomain, TooFew
from tests.metrology.room_series import STEP_S, rooms, series


class TestRate:
    @given(st.floats(-5.0, 5.0), st.floats(0.0, 1e9), st.integers(1, 3000))
    def test_straight_drift(self, k_per_h: float, origin: float, step: int) -> None:
        times = origin + np.arange(0.0, 20_000.0, step)
        room = Readings(times, 20.0 + k_per_h * (times - origin) / 3600)
        found = rate_of_change(room, 3500.0, window_s=7200.0)
        # Values near 20 are held to 4e-15, and over 2 h they show 1e-13 K/h.
        np.testing.assert_allclose(found.per_hour, k_per_h, atol=1e-9)

    @given(rooms(), st.integers(0, 2**31))
    def test_against_polyfit_window_by_window(self, room: Readings, seed: int) -> None:
        noise = np.random.default_rng(seed).normal(0.0, 0.1, len(room.times_s))
        noisy = Readings(room.times_s + 1.4e9, room.values + noise)
        found = rate_of_change(noisy, STEP_S, window_s=1800.0, least_covered=0.5)
        slopes = dict(zip(found.times_s, found.per_hour, strict=True))
        for index, end in enumerate(noisy.times_s):
            inside = (noisy.times_s >= end - 1800.0) & (
                np.arange(len(noisy.times_s)) <= index
            )
            if end not in slopes or inside.sum() < 2:
                assert end not in slopes
                assert inside.sum() < 2 or self.covered(noisy, end) < 900.0
                continue
            assert self.covered(noisy, end) >= 900.0 - 1e-3
            hours = (noisy.times_s[inside] - end) / 3600
            expected = np.polyfit(hours, noisy.values[inside], 1)[0]
            # Times near 1.4e9 s are held to 2.4e-7 s.
            assert slopes[end] == pytest.approx(expected, abs=1e-6)

    @staticmethod
    def covered(room: Readings, end: float) -> float:
        """Count the covered seconds of the half hour before `end`, step by step."""
        total = 0.0
        for low, high in zip(room.times_s[:-1], room.times_s[1:], strict=True):
            if high - low <= STEP_S:
                total += max(0.0, min(high, end) - max(low, end - 1800.0))
        return total

    def test_a_year_of_minutes_loses_no_digits(self) -> None:
        """The last hour of a long series against a fit of that hour alone."""
        times = 1.7e9 + np.arange(0.0, 525_600.0) * 60.0
        values = 20.0 + 0.3 * np.sin(times / 9000.0)
        found = rate_of_change(Readings(times, values), 120.0)
        hours = (times[-61:] - times[-1]) / 3600
        expected = np.polyfit(hours, values[-61:], 1)[0]
        assert found.per_hour[-1] == pytest.approx(expected, abs=1e-9)

    def test_too_little_covered_is_counted_and_not_guessed(self) -> None:
        room = series((0, 20), (600, 20), (5000, 25), (5600, 25))
        found = rate_of_change(room, STEP_S)
        assert found.left_out == 4
        assert found.worst_per_hour is None
        assert found.worst_at_s is None
        assert len(found.per_hour) == 0

    def test_worst_is_the_steepest_either_way(self) -> None:
        times = np.arange(0.0, 14_401.0, 300.0)
        values = np.where(times < 7200, 20.0, 20.0 - (times - 7200) / 3600)
        found = rate_of_change(Readings(times, values), 600.0)
        assert found.worst_per_hour == pytest.approx(-1.0, abs=1e-9)
        # From an hour after the bend on, each window holds nothing but the fall.
        assert found.worst_at_s >= 7200.0 + 3600.0

    def test_asked_within_windows_but_looking_back(self) -> None:
        times = np.arange(0.0, 7201.0, 300.0)
        room = Readings(times, 20.0 + times / 3600)
        found = rate_of_change(room, 600.0, within=[Window(3600, 4200)])
        assert found.times_s.tolist() == [3600.0, 3900.0]
        assert found.left_out == 0

    def test_the_window_is_part_of_the_statement(self) -> None:
        found = rate_of_change(series((0, 20), (600, 20)), STEP_S)
        assert found.window_words == "slope over 60 min, at least 80 % covered"

    def test_empty_series(self) -> None:
        found = rate_of_change(Readings(np.empty(0), np.empty(0)), STEP_S)
        assert found.worst_per_hour is None

    def test_refusals(self) -> None:
        room = series((0, 20), (600, 20))
        with pytest.raises(OutOfDomain, match="window_s is 0"):
            rate_of_change(room, STEP_S, window_s=0.0)
        with pytest.raises(OutOfDomain, match="least_covered is 0"):
            rate_of_change(room, STEP_S, least_covered=0.0)


class TestSensors:
    CALIBRATION = SensorCalibration(
        np.array([15.0, 20.0, 25.0]),
        np.array([0.1, 0.0, -0.2]),
        np.array([0.04, 0.03, 0.05]),
    )

    def test_interpolates_and_names_what_is_out_of_range(self) -> None:
        room = series((0, 14.0), (1, 17.5), (2, 20.0), (3, 22.5), (4, 26.0))
        found = corrected_readings(room, self.CALIBRATION)
        np.testing.assert_allclose(
            found.readings.values, [14.1, 17.55, 20.0, 22.4, 25.8], atol=1e-12
        )
        np.testing.assert_allclose(found.u, [0.04, 0.035, 0.03, 0.04, 0.05], atol=1e-12)
        assert found.outside_range.tolist() == [0, 4]

    def test_refusals(self) -> None:
        with pytest.raises(OutOfDomain, match="must rise from row to row"):
            SensorCalibration(np.array([20.0, 15.0]), np.zeros(2), np.zeros(2))
        with pytest.raises(OutOfDomain, match="negative uncertainty"):
            SensorCalibration(np.array([20.0]), np.zeros(1), -np.ones(1))
        with pytest.raises(BadShape, match="must be equally long"):
            SensorCalibration(np.array([20.0]), np.zeros(2), np.zeros(1))


class TestGradient:
    TIMES = np.arange(0.0, 3601.0, 600.0)

    def sensor(self, offset: float) -> Readings:
        return Readings(self.TIMES, 20.0 + offset + 0 * self.TIMES)

    def test_recovers_a_field_in_space(self) -> None:
        field = np.array([0.1, -0.2, 0.4])
        places = {
            "a": [0, 0, 0],
            "b": [3000, 0, 0],
            "c": [0, 4000, 0],
            "d": [0, 0, 2500],
            "e": [3000, 4000, 2500],
        }
        sensors = {
            name: self.sensor(float(field @ np.array(place)) / 1000)
            for name, place in places.items()
        }
        found = spatial_gradient(sensors, places, [300.0, 900.0], STEP_S)
        np.testing.assert_allclose(found.per_metre, [field, field], atol=1e-9)
        assert found.directions == 3
        assert found.warmest[0] == "d"
        assert found.coldest[0] == "c"
        assert found.worst_spread == pytest.approx(1.0 + 0.8)

    def test_nothing_is_invented_across_the_line_of_two_sensors(self) -> None:
        found = spatial_gradient(
            {"low": self.sensor(0.0), "high": self.sensor(0.8)},
            {"low": [500, 0, 0], "high": [500, 0, 2000]},
            [600.0],
            STEP_S,
        )
        assert found.directions == 1
        np.testing.assert_allclose(found.per_metre, [[0, 0, 0.4]], atol=1e-12)

    def test_times_in_a_gap_are_left_out_and_named(self) -> None:
        gappy = series((0, 20), (600, 20), (3000, 20), (3600, 20))
        found = spatial_gradient(
            {"whole": self.sensor(0.5), "gappy": gappy},
            {"whole": [0, 0, 0], "gappy": [0, 0, 1000]},
            [0.0, 300.0, 600.0, 1800.0, 3000.0, 9000.0],
            STEP_S,
        )
        assert found.times_s.tolist() == [0.0, 300.0, 600.0, 3000.0]
        assert found.left_out_s.tolist() == [1800.0, 9000.0]

    def test_silent_sensor_leaves_no_time(self) -> None:
        silent = Readings(np.empty(0), np.empty(0))
        found = spatial_gradient(
            {"a": self.sensor(0.0), "b": silent},
            {"a": [0, 0, 0], "b": [0, 0, 1]},
            [600.0],
            STEP_S,
        )
        assert found.worst_spread is None

    def test_refusals(self) -> None:
        with pytest.raises(TooFew, match="needs two or more"):
            spatial_gradient({"a": self.sensor(0)}, {"a": [0, 0, 0]}, [0.0], STEP_S)
        with pytest.raises(BadShape, match=r"lacks the sensor\(s\) b"):
            spatial_gradient(
                {"a": self.sensor(0), "b": self.sensor(1)},
                {"a": [0, 0, 0]},
                [0.0],
                STEP_S,
            )


class TestPictures:
    @given(rooms(), st.integers(1, 12))
    def test_keeps_every_extreme_and_every_gap(
        self, room: Readings, columns: int
    ) -> None:
        found = picture_of(room, columns, STEP_S)
        kept = found.readings
        assert set(zip(kept.times_s, kept.values, strict=True)) <= set(
            zip(room.times_s, room.values, strict=True)
        )
        gaps = int(np.sum(np.diff(room.times_s) > STEP_S))
        assert len(found.breaks) == gaps
        assert len(kept.times_s) <= 4 * columns + 2 * gaps
        for index in found.breaks:
            assert kept.times_s[index] - kept.times_s[index - 1] > STEP_S
        width = (room.times_s[-1] - room.times_s[0]) / columns
        for column in range(columns):
            low, high = (
                room.times_s[0] + column * width,
                room.times_s[0] + (column + 1) * width,
            )
            mine = room.values[(room.times_s > low) & (room.times_s < high)]
            if len(mine):
                near = (kept.times_s >= low) & (kept.times_s <= high)
                assert kept.values[near].max() >= mine.max()
                assert kept.values[near].min() <= mine.min()

    @given(rooms(), st.sampled_from([60.0, 777.0, 3600.0]))
    def test_buckets_one_by_one(self, room: Readings, length: float) -> None:
        found = buckets(room, length)
        assert found.counts.sum() == len(room.times_s)
        for index, start in enumerate(found.starts_s):
            inside = (room.times_s >= start) & (room.times_s < start + length)
            mine = room.values[inside]
            assert found.counts[index] == len(mine)
            assert found.lowest[index] == mine.min()
            assert found.highest[index] == mine.max()
            assert found.means[index] == pytest.approx(mine.mean(), abs=1e-12)

    def test_empty(self) -> None:
        nothing = Readings(np.empty(0), np.empty(0))
        assert len(picture_of(nothing, 5, STEP_S).readings.times_s) == 0
        assert len(buckets(nothing, 60.0).starts_s) == 0

    def test_one_reading(self) -> None:
        assert picture_of(series((5, 20)), 10, STEP_S).readings.values.tolist() == [20]

    def test_refusals(self) -> None:
        with pytest.raises(OutOfDomain, match="columns is 0"):
            picture_of(series((0, 20)), 0, STEP_S)
        with pytest.raises(OutOfDomain, match="bucket_s is 0"):
            buckets(series((0, 20)), 0.0)
