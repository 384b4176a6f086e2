"""An hour of readings comes back from its block as it went in, bit by bit."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from lab.metrology.environment.envelopes import (
    DENSE,
    envelope_of,
    pack_envelope,
    unpack_envelopes,
)
from lab.metrology.environment.packing import (
    HOUR_US,
    merged_readings,
    pack_readings,
    unpack_readings,
)
from lab.metrology.errors import BadShape, NotFinite, OutOfDomain

INSTANTS = st.integers(-(2**62), 2**62)
FLOATS = st.floats(allow_nan=False, allow_infinity=False)
SCALED = st.tuples(st.integers(-(10**7), 10**7), st.just(3)).map(
    lambda pair: pair[0] / 10 ** pair[1]
)


def came_back(times: np.ndarray, values: np.ndarray) -> bool:
    found_times, found_values = unpack_readings(pack_readings(times, values))
    same_bits = found_values.view(np.int64).tolist() == values.view(np.int64).tolist()
    return found_times.tolist() == times.tolist() and same_bits


@pytest.mark.parametrize("values", [FLOATS, SCALED, st.one_of(FLOATS, SCALED)])
@given(instants=st.sets(INSTANTS, max_size=50), choice=st.data())
def test_whatever_goes_in_comes_back(values, instants, choice) -> None:
    times = np.array(sorted(instants), np.int64)
    series = choice.draw(
        st.lists(values, min_size=len(times), max_size=len(times)), label="values"
    )
    assert came_back(times, np.array(series, np.float64))


@pytest.mark.parametrize(
    "series",
    [
        [],
        [20.1],
        [-0.0, 0.0],
        [0.1 + 0.2, 0.3],
        [5e-324, -1.7976931348623157e308],
        [9007199254740993.0, 1.0],
        [46.066666666666698, 19.890000000000001],
    ],
)
def test_awkward_values_come_back(series: list[float]) -> None:
    assert came_back(np.arange(len(series)), np.array(series, np.float64))


def test_a_dense_hour_takes_about_two_bytes_a_reading() -> None:
    rng = np.random.default_rng(0)
    times = np.arange(3600) * 1_000_000 + rng.integers(-2000, 2000, 3600)
    values = np.round(20 + np.cumsum(rng.normal(0, 0.01, 3600)), 2)
    jittery = len(pack_readings(times, values)) / 3600
    steady = len(pack_readings(np.arange(3600) * 1_000_000, values)) / 3600
    assert steady < 0.6
    assert jittery < 3  # the jitter itself is twelve bits of chance a reading


def test_refusals() -> None:
    with pytest.raises(OutOfDomain, match="rise"):
        pack_readings([1, 1], [2.0, 2.0])
    with pytest.raises(NotFinite):
        pack_readings([1], [math.nan])
    with pytest.raises(BadShape, match="whole numbers"):
        pack_readings([1.5], [2.0])
    block = pack_readings([1, 2, 4], [2.0, 2.1, 2.2])
    for damaged in (b"", block[:9], block[:-3], b"\x07" + block[1:]):
        with pytest.raises(BadShape):
            unpack_readings(damaged)


readings = st.lists(
    st.tuples(st.integers(0, 30), st.sampled_from([19.5, 20.0, 20.5])), max_size=40
)


@given(kept=st.dictionaries(st.integers(0, 30), st.just(20.0)), new=readings)
def test_merging_agrees_with_a_dictionary(kept, new) -> None:
    expected, fresh, conflicts = dict(kept), [], []
    for place, (time, value) in enumerate(new):
        fresh.append(time not in expected)
        if expected.setdefault(time, value) != value:
            conflicts.append((place, expected[time]))
    first = sorted(kept.items())
    found = merged_readings(
        np.array([t for t, _ in first], np.int64),
        np.array([v for _, v in first], np.float64),
        np.array([t for t, _ in new], np.int64),
        np.array([v for _, v in new], np.float64),
    )
    assert (
        dict(zip(found.times_us.tolist(), found.values.tolist(), strict=True))
        == expected
    )
    assert found.times_us.tolist() == sorted(expected)
    assert found.is_fresh.tolist() == fresh
    assert (
        sorted(zip(found.conflicting.tolist(), found.kept.tolist(), strict=True))
        == conflicts
    )
    assert found.added + found.repeated + len(conflicts) == len(new)


def test_the_envelope_of_dense_hours_comes_back() -> None:
    rng = np.random.default_rng(1)
    hours, blocks, parts = [5, 9], [], []
    for hour in hours:
        times = hour * HOUR_US + np.sort(rng.choice(HOUR_US // 2, DENSE + 1, False))
        values = rng.normal(20, 1, len(times))
        blocks.append(pack_envelope(hour, times, values))
        parts.append((times, values))
    found = unpack_envelopes(hours, blocks)
    direct = [envelope_of(*part) for part in parts]
    for name in ("starts_us", "lowest", "highest", "means"):
        expected = np.concatenate([getattr(one, name) for one in direct])
        assert getattr(found, name).tolist() == expected.tolist()
    assert found.highest.max() == max(values.max() for _, values in parts)
    assert pack_envelope(5, parts[0][0][:10], parts[0][1][:10]) == b""
    with pytest.raises(BadShape, match="length"):
        unpack_envelopes([5], blocks)
