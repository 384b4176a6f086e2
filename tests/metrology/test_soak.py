"""Soaking: the time constant, and the wait until the temperature is good enough."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from lab.metrology.errors import BadShape, Degenerate, OutOfDomain, TooFew
from lab.metrology.soak import (
    BiotTooLarge,
    Body,
    NeverSteadyEnough,
    Room,
    SoakNeed,
    TimeConstant,
    biot_number,
    fit_time_constant,
    soak_time,
    time_constant,
)
from lab.metrology.thermal import Expansion

CASTING = Body(10.0, 0.5, 2700.0, 900.0, 150.0)
NEED = SoakNeed(1000.0, 0.004, Expansion(23.1e-6, 2.3e-6), 0.1)


class TestTimeConstant:
    def test_spans_the_film_coefficients(self) -> None:
        found = time_constant(CASTING)
        assert found.longest_s / found.shortest_s == pytest.approx(6.0)
        assert found.longest_s == pytest.approx(10.0 * 900.0 / (0.5 * 5.0))

    @given(st.floats(0.1, 50.0))
    def test_scales_with_the_mass_at_equal_surface(self, factor: float) -> None:
        one = Body(1.0, 10.0, 7850.0, 460.0, 45.0)
        other = replace(one, mass_kg=factor)
        assert time_constant(other).longest_s == pytest.approx(
            factor * time_constant(one).longest_s
        )

    def test_thick_poor_conductor_is_refused(self) -> None:
        granite = Body(500.0, 2.0, 2700.0, 800.0, 2.5)
        assert biot_number(granite, 30.0) > 0.1
        with pytest.raises(BiotTooLarge, match="Measure the temperature at several"):
            time_constant(granite)

    def test_refusals(self) -> None:
        with pytest.raises(OutOfDomain, match="mass_kg is 0"):
            replace(CASTING, mass_kg=0.0)
        with pytest.raises(OutOfDomain, match="of a sphere of that mass"):
            replace(CASTING, surface_m2=0.05)
        with pytest.raises(OutOfDomain, match="runs from 10 to 5"):
            time_constant(CASTING, (10.0, 5.0))
        with pytest.raises(OutOfDomain, match="must be positive and in order"):
            TimeConstant(10.0, 5.0, "a slip")

    def test_a_sphere_is_the_least_surface(self) -> None:
        radius_m = 0.05
        sphere = Body(
            7850.0 * 4 / 3 * math.pi * radius_m**3,
            4 * math.pi * radius_m**2,
            7850.0,
            460.0,
            45.0,
        )
        assert biot_number(sphere, 10.0) == pytest.approx(10 * radius_m / 3 / 45)


class TestFit:
    def readings(self, tau_s: float, drift_k_per_h: float, noise_k: float, seed: int):
        random = np.random.default_rng(seed)
        times = np.arange(0.0, 2.0 * tau_s, tau_s / 10)
        rate = drift_k_per_h / 3600.0
        # The balance itself, integrated by SciPy: dT/dt = (room(t) − T)/τ.
        solved = solve_ivp(
            lambda t, temperature: (20.0 + rate * t - temperature) / tau_s,
            (0.0, times[-1]),
            [27.0],
            t_eval=times,
            rtol=1e-10,
            atol=1e-10,
        )
        return times, solved.y[0] + random.normal(0.0, noise_k, len(times))

    @pytest.mark.parametrize("drift_k_per_h", [0.0, 0.8, -0.5])
    def test_recovers_the_constant_of_the_heat_balance(
        self, drift_k_per_h: float
    ) -> None:
        times, surface = self.readings(7000.0, drift_k_per_h, 0.0, 1)
        # Without noise the range closes; 1e-5 is the integrator's tolerance.
        found = fit_time_constant(times, surface, Room(20.0, drift_k_per_h))
        assert found.shortest_s == pytest.approx(7000.0, rel=1e-5)
        assert found.longest_s == pytest.approx(7000.0, rel=1e-5)

    def test_range_covers_95_times_in_a_hundred(self) -> None:
        covered = 0
        for seed in range(400):
            times, surface = self.readings(5000.0, 0.0, 0.05, seed)
            found = fit_time_constant(times, surface, Room(20.0))
            covered += found.shortest_s <= 5000.0 <= found.longest_s
        # Binomial standard deviation is 1.1 %: three of them.
        assert covered / 400 == pytest.approx(0.95, abs=0.033)

    def test_order_and_origin_of_time_do_not_matter(self) -> None:
        times, surface = self.readings(5000.0, 0.0, 0.05, 3)
        plain = fit_time_constant(times, surface, Room(20.0))
        order = np.random.default_rng(0).permutation(len(times))
        moved = fit_time_constant(times[order] + 1e9, surface[order], Room(20.0))
        assert moved.longest_s == pytest.approx(plain.longest_s, rel=1e-6)

    def test_a_part_at_room_temperature_tells_nothing(self) -> None:
        noise = np.random.default_rng(5).normal(0.0, 0.05, 20)
        with pytest.raises(Degenerate, match="better than a factor of six"):
            fit_time_constant(np.arange(20) * 600.0, 20.0 + noise, Room(20.0))

    def test_refusals(self) -> None:
        with pytest.raises(TooFew, match="times_s holds 3 values; at least 4"):
            fit_time_constant([0, 1, 2], [1, 2, 3], Room(20.0))
        with pytest.raises(BadShape, match="must be equally long"):
            fit_time_constant([0, 1, 2, 3], [1, 2, 3, 4, 5], Room(20.0))
        with pytest.raises(Degenerate, match="have one time"):
            fit_time_constant([5, 5, 5, 5], [1, 2, 3, 4], Room(20.0))


class TestSoakTime:
    def test_a_part_already_good_enough_need_not_wait(self) -> None:
        found = soak_time(CASTING, time_constant(CASTING), Room(20.0), 20.1, NEED)
        assert found.longest_s == 0.0
        assert "can be measured now" in found.reason

    def test_warmer_parts_wait_longer(self) -> None:
        constant = time_constant(CASTING)
        waits = [
            soak_time(CASTING, constant, Room(20.0), degc, NEED).longest_s
            for degc in (22.0, 24.0, 28.0, 35.0)
        ]
        assert waits == sorted(waits)
        assert waits[0] < waits[-1]

    @given(st.floats(24.0, 40.0), st.floats(19.0, 21.0), st.floats(0.0, 1.0))
    def test_the_wait_meets_the_need_and_no_sooner(
        self, start_degc: float, room_degc: float, spread_k: float
    ) -> None:
        """The uncertainty written out by hand, at the end of the wait."""
        tau_s = 6000.0
        constant = TimeConstant(tau_s, tau_s, "given")
        need = replace(NEED, allowed_u_mm=0.0045)
        found = soak_time(
            CASTING, constant, Room(room_degc), start_degc, need, spread_k
        )
        film = 10.0 * 900.0 / (0.5 * tau_s)
        deviation_k = (start_degc - room_degc) * math.exp(-found.longest_s / tau_s)
        uneven_k = 1.5 * biot_number(CASTING, film) * abs(deviation_k)
        uneven_k += spread_k * math.exp(-found.longest_s / tau_s)
        u_mm = 1000.0 * math.hypot(
            23.1e-6 * math.hypot(0.1, uneven_k / math.sqrt(12)),
            2.3e-6 * (room_degc + deviation_k - 20.0),
        )
        assert u_mm == pytest.approx(0.0045, rel=1e-6)

    def test_distance_from_20_degrees_alone_is_no_reason_to_wait(self) -> None:
        """An exactly known coefficient lets a warm, even part be measured."""
        exact = replace(NEED, expansion=Expansion(23.1e-6, 0.0))
        even = replace(CASTING, conductivity_w_per_m_k=1e6)
        found = soak_time(even, time_constant(even), Room(25.0), 30.0, exact)
        assert found.longest_s == 0.0

    def test_a_drifting_room_leaves_a_lag(self) -> None:
        constant = TimeConstant(3600.0, 7200.0, "given")
        found = soak_time(CASTING, constant, Room(20.0, 0.5), 20.0, NEED)
        assert found.lag_k == (-0.5, -1.0)

    def test_measuring_while_the_part_still_cools_costs(self) -> None:
        constant = time_constant(CASTING)
        once = replace(NEED, measuring_s=1800.0)
        steady = soak_time(CASTING, constant, Room(20.0), 26.0, NEED)
        read_once = soak_time(CASTING, constant, Room(20.0), 26.0, once)
        assert read_once.longest_s > steady.longest_s

    def test_an_uneven_start_costs(self) -> None:
        constant = time_constant(CASTING)
        even = soak_time(CASTING, constant, Room(20.0), 22.0, NEED)
        sunny = soak_time(CASTING, constant, Room(20.0), 22.0, NEED, 3.0)
        assert sunny.longest_s > even.longest_s

    def test_a_room_too_warm_is_named(self) -> None:
        with pytest.raises(NeverSteadyEnough, match="bring the room nearer to 20"):
            soak_time(CASTING, time_constant(CASTING), Room(26.0), 30.0, NEED)

    def test_a_poor_sensor_is_named(self) -> None:
        poor = replace(NEED, u_sensor_k=0.5)
        with pytest.raises(NeverSteadyEnough, match="read its temperature better"):
            soak_time(CASTING, time_constant(CASTING), Room(20.0), 30.0, poor)

    def test_a_short_time_constant_that_implies_a_thick_part_is_refused(self) -> None:
        plastic = Body(10.0, 0.4, 1200.0, 1500.0, 0.25)
        with pytest.raises(BiotTooLarge, match="Biot number is"):
            soak_time(plastic, TimeConstant(3000.0, 9000.0, "x"), Room(20), 25.0, NEED)

    @pytest.mark.parametrize(
        ("field", "value", "message"),
        [
            ("length_mm", 0.0, "length_mm is 0"),
            ("allowed_u_mm", -1.0, "allowed_u_mm is -1"),
            ("u_sensor_k", -0.1, "u_sensor_k is -0.1"),
            ("measuring_s", -5.0, "measuring_s is -5"),
        ],
    )
    def test_refusals(self, field: str, value: float, message: str) -> None:
        with pytest.raises(OutOfDomain, match=message):
            replace(NEED, **{field: value})  # type: ignore[arg-type]
