"""The wait until a part's temperature is known and even enough."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

from scipy.optimize import brentq

from lab.metrology.arrays import finite, non_negative, positive
from lab.metrology.errors import OutOfDomain
from lab.metrology.soak.bodies import (
    Body,
    Room,
    TimeConstant,
    biot_number,
    refuse_thick,
)
from lab.metrology.thermal import REFERENCE_DEGC, Expansion

__all__ = ["NeverSteadyEnough", "SoakNeed", "SoakTime", "soak_time"]

# Difference between centre and surface over difference to the room, as a multiple
# of the Biot number with V/A as length: 1/2 for a plate, 1 for a long cylinder,
# 3/2 for a sphere, each from the quasi-steady parabola. The worst is taken.
_UNEVENNESS_PER_BIOT: Final = 1.5
_FULL_WIDTH_TO_U: Final = 1.0 / math.sqrt(12.0)
_HALF_WIDTH_TO_U: Final = 1.0 / math.sqrt(3.0)


class NeverSteadyEnough(OutOfDomain):
    """No soaking makes the thermal uncertainty small enough in that room."""


@dataclass(frozen=True, slots=True)
class SoakNeed:
    """What the tightest characteristic asks of the part's temperature.

    `allowed_u_mm` is the standard uncertainty that its budget leaves for
    temperature; `u_sensor_k` that of the reading of the part's temperature;
    `measuring_s` the time after which that reading is taken anew.
    """

    length_mm: float
    allowed_u_mm: float
    expansion: Expansion
    u_sensor_k: float
    measuring_s: float = 0.0

    def __post_init__(self) -> None:
        """Refuse what isn't a length, an uncertainty or a time."""
        positive("length_mm", self.length_mm)
        positive("allowed_u_mm", self.allowed_u_mm)
        non_negative("u_sensor_k", self.u_sensor_k)
        non_negative("measuring_s", self.measuring_s)


@dataclass(frozen=True, slots=True)
class SoakTime:
    """How long to wait, as a range, and what is left at its end.

    `lag_k` is the part's temperature minus the room's once only the drift is
    left; `final_u_mm` the thermal uncertainty that then remains, the larger of
    the two ends of the range.
    """

    shortest_s: float
    longest_s: float
    lag_k: tuple[float, float]
    final_u_mm: float
    reason: str


def soak_time(
    body: Body,
    constant: TimeConstant,
    room: Room,
    start_degc: float,
    need: SoakNeed,
    start_spread_k: float = 0.0,
) -> SoakTime:
    """Say when a part's temperature is good enough, as a range of times.

    The thermal standard uncertainty L·√((α·u_T)² + (u_α·(T − 20 °C))²) must have
    come down to what the need allows, and stay there. u_T combines the sensor,
    the unevenness over √12, and the change while measuring over √3.

    Parameters
    ----------
    body : Body
        The part.
    constant : TimeConstant
        Its time constant, from `time_constant` or `fit_time_constant`.
    room : Room
        The room as it is now.
    start_degc : float
        The part's mean temperature now, in °C.
    need : SoakNeed
        Of the tightest characteristic.
    start_spread_k : float
        Largest minus smallest of several contact readings now, in K: a part
        that was in the sun is uneven, and that decays with τ too.

    Returns
    -------
    soak : SoakTime

    Raises
    ------
    BiotTooLarge
        If the Biot number that belongs to the shortest τ exceeds 0.1.
    NeverSteadyEnough
        If the allowed uncertainty lies below what is left in the end.

    Notes
    -----
    With x = exp(−t/τ) each share is convex in x, so that the uncertainty crosses
    the allowed one at most once on the way from x = 1 to x = 0, and the root is
    found there. Unevenness: 1.5 times the Biot number times the difference to the
    room (a sphere; a plate has a third of it), plus the spread found at the start.

    Examples
    --------
    >>> from lab.metrology.soak import time_constant
    >>> aluminium = Body(10.0, 0.5, 2700.0, 900.0, 150.0)
    >>> need = SoakNeed(1000.0, 0.004, Expansion(23.1e-6, 2.3e-6), 0.1)
    >>> soak = soak_time(aluminium, time_constant(aluminium), Room(20.5), 26.0, need)
    >>> round(soak.shortest_s / 60), round(soak.longest_s / 60)
    (18, 107)
    """
    start_k = finite("start_degc", start_degc) - room.degc
    spread_k = non_negative("start_spread_k", start_spread_k)
    taus = (constant.shortest_s, constant.longest_s)
    waits = []
    for tau in taus:
        film = body.heat_capacity_j_per_k / (body.surface_m2 * tau)
        refuse_thick(body, film)
        unevenness = _UNEVENNESS_PER_BIOT * biot_number(body, film)
        state = _Relaxation(need, room, start_k, spread_k, tau, unevenness)
        waits.append((state.time_until_allowed(), state.u_mm(0.0)))
    rate_k_per_s = room.drift_k_per_h / 3600.0
    times = [wait for wait, _ in waits]
    final_u_mm = max(u for _, u in waits)
    return SoakTime(
        shortest_s=min(times),
        longest_s=max(times),
        lag_k=(-rate_k_per_s * taus[0], -rate_k_per_s * taus[1]),
        final_u_mm=final_u_mm,
        reason=_reason(min(times), max(times), need, constant, final_u_mm),
    )


@dataclass(frozen=True, slots=True)
class _Relaxation:
    """One part with one time constant, on its way to the room's temperature."""

    need: SoakNeed
    room: Room
    start_k: float
    spread_k: float
    tau_s: float
    unevenness: float

    @property
    def lag_k(self) -> float:
        return -self.room.drift_k_per_h / 3600.0 * self.tau_s

    def u_temperature_k(self, x: float) -> float:
        """Uncertainty of the part's mean temperature at x = exp(−t/τ)."""
        swing_k = self.start_k - self.lag_k
        deviation_k = self.lag_k + swing_k * x
        uneven_k = self.spread_k * x + self.unevenness * abs(deviation_k)
        measuring_s = self.need.measuring_s
        change_k = abs(swing_k) * x * -math.expm1(-measuring_s / self.tau_s)
        change_k += abs(self.room.drift_k_per_h) / 3600.0 * measuring_s
        return math.hypot(
            self.need.u_sensor_k,
            uneven_k * _FULL_WIDTH_TO_U,
            change_k * _HALF_WIDTH_TO_U,
        )

    def u_mm(self, x: float) -> float:
        """Thermal uncertainty of the tightest characteristic at x = exp(−t/τ)."""
        deviation_k = self.lag_k + (self.start_k - self.lag_k) * x
        from_reference_k = self.room.degc + deviation_k - REFERENCE_DEGC
        expansion = self.need.expansion
        return self.need.length_mm * math.hypot(
            expansion.per_k * self.u_temperature_k(x),
            expansion.u_per_k * from_reference_k,
        )

    def time_until_allowed(self) -> float:
        allowed_mm = self.need.allowed_u_mm
        if self.u_mm(0.0) > allowed_mm:
            raise NeverSteadyEnough(self._why_never())
        if self.u_mm(1.0) <= allowed_mm:
            return 0.0
        if self.u_mm(0.0) == allowed_mm:
            raise NeverSteadyEnough(self._why_never())
        x = float(brentq(lambda at: self.u_mm(at) - allowed_mm, 0.0, 1.0, xtol=1e-15))
        return -self.tau_s * math.log(x)

    def _why_never(self) -> str:
        need, end_k = self.need, self.room.degc + self.lag_k - REFERENCE_DEGC
        by_expansion_mm = need.length_mm * need.expansion.u_per_k * abs(end_k)
        by_temperature_mm = (
            need.length_mm * abs(need.expansion.per_k) * self.u_temperature_k(0.0)
        )
        remedy = (
            "know its expansion coefficient better or bring the room nearer to 20 °C"
            if by_expansion_mm > by_temperature_mm
            else "read its temperature better or steady the room"
        )
        return (
            f"At the end of any soak the thermal uncertainty of {need.length_mm:g} mm "
            f"is {self.u_mm(0.0) * 1000:.3g} µm, and {need.allowed_u_mm * 1000:.3g} µm "
            f"is allowed; {remedy}."
        )


def _reason(
    shortest_s: float,
    longest_s: float,
    need: SoakNeed,
    constant: TimeConstant,
    final_u_mm: float,
) -> str:
    if longest_s == 0.0:
        start = "The part can be measured now"
    else:
        start = (
            f"Wait {shortest_s / 3600:.1f} to {longest_s / 3600:.1f} h until the "
            f"thermal uncertainty of {need.length_mm:g} mm is below "
            f"{need.allowed_u_mm * 1000:.3g} µm"
        )
    return (
        f"{start} (time constant {constant.shortest_s / 3600:.2g} to "
        f"{constant.longest_s / 3600:.2g} h from {constant.origin}; "
        f"{final_u_mm * 1000:.3g} µm remain in the end)."
    )
