"""Contact readings against the need, the curve to the room, surfaces of walls."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from lab.metrology.errors import MetrologyError, OutOfDomain, TooFew
from lab.metrology.soak import (
    Body,
    Room,
    SoakNeed,
    TimeConstant,
    soak_curve,
    soak_time,
    temperature_fitness,
    time_constant,
    wall_surface,
)
from lab.metrology.thermal import Expansion

ALUMINIUM = Expansion(23.1e-6, 2.3e-6)
NEED = SoakNeed(1000.0, 0.004, ALUMINIUM, 0.1)


def test_a_part_at_the_end_of_its_soak_is_what_the_waiting_ended_with() -> None:
    """The waiting and the readings use one formula: at x = 0 both give the same u."""
    body = Body(10.0, 0.5, 2700.0, 900.0, 150.0)
    soak = soak_time(body, time_constant(body), Room(20.5), 26.0, NEED)
    assert temperature_fitness(NEED, [20.5]).u_mm == pytest.approx(
        soak.final_u_mm, rel=1e-12
    )


@given(
    st.lists(st.floats(15.0, 30.0), min_size=1, max_size=8),
    st.floats(0.0, 2.0),
    st.randoms(use_true_random=False),
)
def test_the_order_of_readings_says_nothing(
    readings: list[float], change: float, dice: object
) -> None:
    shuffled = list(readings)
    dice.shuffle(shuffled)  # type: ignore[attr-defined]
    one = temperature_fitness(NEED, readings, change)
    other = temperature_fitness(NEED, shuffled, change)
    assert one.u_mm == pytest.approx(other.u_mm, rel=1e-9)
    assert one.u_mm >= NEED.length_mm * ALUMINIUM.per_k * NEED.u_sensor_k * (1 - 1e-12)


def test_unevenness_and_change_count_by_their_distributions() -> None:
    flat = SoakNeed(1000.0, 0.004, Expansion(23.1e-6, 0.0), 0.0)
    uneven = temperature_fitness(flat, [20.0, 21.0])
    assert uneven.u_temperature_k == pytest.approx(1 / math.sqrt(12), rel=1e-12)
    changing = temperature_fitness(flat, [20.0], change_k=1.0)
    assert changing.u_temperature_k == pytest.approx(1 / math.sqrt(3), rel=1e-12)
    assert not temperature_fitness(flat, [20.0, 21.0]).is_fit


def test_no_reading_is_no_fitness() -> None:
    with pytest.raises(TooFew, match="readings_degc"):
        temperature_fitness(NEED, [])
    with pytest.raises(MetrologyError, match="readings_degc"):
        temperature_fitness(NEED, [math.nan])


def test_curves_begin_with_the_part_and_end_at_the_room_with_its_lag() -> None:
    constant = TimeConstant(1800.0, 3600.0, "a guess")
    still = soak_curve(constant, Room(20.0), 26.0, 100 * 3600.0)
    assert still.quick_degc[0] == still.slow_degc[0] == pytest.approx(26.0)
    assert still.slow_degc[-1] == pytest.approx(20.0, abs=1e-9)
    assert np.all(still.quick_degc <= still.slow_degc + 1e-12)
    drifting = soak_curve(constant, Room(20.0, 0.5), 20.0, 100 * 3600.0)
    # The part lags by rate times time constant: half a kelvin an hour for an hour.
    assert drifting.slow_degc[-1] == pytest.approx(20.0 + 50.0 - 0.5, abs=1e-9)
    with pytest.raises(OutOfDomain, match="steps"):
        soak_curve(constant, Room(20.0), 26.0, 3600.0, 0)


def test_the_surface_of_walls_is_twice_volume_over_thickness() -> None:
    assert wall_surface(10.0, 2700.0, 5.0) == pytest.approx(
        2 * (10.0 / 2700.0) / 0.005, rel=1e-12
    )
    with pytest.raises(OutOfDomain, match="wall_mm"):
        wall_surface(10.0, 2700.0, 0.0)
