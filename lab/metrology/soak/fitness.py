"""Whether a part is fit to be measured by its contact readings, and how it gets there.

A prediction says when; only readings say that it is so. The thermal standard
uncertainty that they leave is the one that `soak_time` waits for, with the spread of
the readings as the unevenness.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lab.metrology.arrays import finite, non_negative, positive, vector
from lab.metrology.errors import OutOfDomain
from lab.metrology.soak.bodies import Room, TimeConstant
from lab.metrology.soak.waiting import SoakNeed
from lab.metrology.thermal import REFERENCE_DEGC

__all__ = ["Fitness", "SoakCurve", "soak_curve", "temperature_fitness", "wall_surface"]

_FULL_WIDTH_TO_U: Final = 1.0 / math.sqrt(12.0)
_HALF_WIDTH_TO_U: Final = 1.0 / math.sqrt(3.0)


@dataclass(frozen=True, slots=True)
class Fitness:
    """What contact readings say of a part for its tightest characteristic.

    `expansion_mm` is how much longer the length is than at 20 °C, which is corrected;
    `u_mm` the standard uncertainty that stays after the correction.
    """

    mean_degc: float
    spread_k: float
    u_temperature_k: float
    expansion_mm: float
    u_mm: float
    allowed_u_mm: float

    @property
    def is_fit(self) -> bool:
        """Say whether no more is left than the need allows."""
        return self.u_mm <= self.allowed_u_mm


@dataclass(frozen=True, slots=True, eq=False)
class SoakCurve:
    """The part's temperature from now on, were it quick and were it slow."""

    times_s: NDArray[np.float64]
    quick_degc: NDArray[np.float64]
    slow_degc: NDArray[np.float64]


def temperature_fitness(
    need: SoakNeed, readings_degc: ArrayLike, change_k: float = 0.0
) -> Fitness:
    """Judge a part's temperature by contact readings of one time.

    u² = L²·((α·u_T)² + (u_α·(T − 20 °C))²), with u_T from the sensor, the spread of the
    readings over √12, and the change while measuring over √3.

    Parameters
    ----------
    need : SoakNeed
        Of the tightest characteristic.
    readings_degc : array_like, shape (N,)
        Taken at about one time, in °C; several on a large part.
    change_k : float
        How far the part may still change until it is read again, in K.

    Returns
    -------
    fitness : Fitness

    Raises
    ------
    TooFew
        If there is no reading.

    References
    ----------
    .. [1] JCGM 100:2008, 4.3.7 (rectangular distributions) and 5.1.2.

    Examples
    --------
    >>> from lab.metrology.thermal import Expansion
    >>> need = SoakNeed(1000.0, 0.005, Expansion(23.0e-6, 2.3e-6), 0.1)
    >>> found = temperature_fitness(need, [20.4, 20.8])
    >>> round(found.expansion_mm * 1000, 2), round(found.u_mm * 1000, 1), found.is_fit
    (13.8, 3.8, True)
    """
    readings = vector("readings_degc", readings_degc)
    mean = float(readings.mean())
    spread = float(np.ptp(readings))
    u_temperature = math.hypot(
        need.u_sensor_k,
        spread * _FULL_WIDTH_TO_U,
        non_negative("change_k", change_k) * _HALF_WIDTH_TO_U,
    )
    expansion, off_k = need.expansion, mean - REFERENCE_DEGC
    return Fitness(
        mean_degc=mean,
        spread_k=spread,
        u_temperature_k=u_temperature,
        expansion_mm=need.length_mm * expansion.per_k * off_k,
        u_mm=need.length_mm
        * math.hypot(expansion.per_k * u_temperature, expansion.u_per_k * off_k),
        allowed_u_mm=need.allowed_u_mm,
    )


def soak_curve(
    constant: TimeConstant,
    room: Room,
    start_degc: float,
    length_s: float,
    steps: int = 60,
) -> SoakCurve:
    """Return a part's course to the room's temperature, for a picture.

    T(t) = room(t) − r·τ + (Δ0 + r·τ)·exp(−t/τ), at both ends of the range of τ.

    Parameters
    ----------
    constant : TimeConstant
        The part's.
    room : Room
        The room as it is now.
    start_degc : float
        The part's temperature now, in °C.
    length_s : float
        How far to draw, in s.
    steps : int
        How many steps, 1 or more.

    Returns
    -------
    curve : SoakCurve
        Arrays of shape (steps + 1,).

    Raises
    ------
    OutOfDomain
        If the length isn't positive or there is no step.

    Examples
    --------
    >>> curve = soak_curve(TimeConstant(3600.0, 7200.0, "a guess"), Room(20.0), 26.0,
    ...     7200.0, 2)
    >>> curve.quick_degc.round(2).tolist(), curve.slow_degc.round(2).tolist()
    ([26.0, 22.21, 20.81], [26.0, 23.64, 22.21])
    """
    if steps < 1:
        raise OutOfDomain(f"steps is {steps}; a curve has one or more.")
    times = np.linspace(0.0, positive("length_s", length_s), steps + 1)
    start_k = finite("start_degc", start_degc) - room.degc
    rate_k_per_s = room.drift_k_per_h / 3600.0

    def course(tau_s: float) -> NDArray[np.float64]:
        lag_k = -rate_k_per_s * tau_s
        swing_k = (start_k - lag_k) * np.exp(-times / tau_s)
        return np.asarray(room.degc + rate_k_per_s * times + lag_k + swing_k)

    return SoakCurve(times, course(constant.shortest_s), course(constant.longest_s))


def wall_surface(mass_kg: float, density_kg_per_m3: float, wall_mm: float) -> float:
    """Return the surface in m² of a part made of walls of one thickness.

    Air on both faces of a wall, edges left out: A = 2·V/t. A part that lies on one
    face sheds less, and the range of film coefficients has to hold that.

    Parameters
    ----------
    mass_kg : float
        Of the part.
    density_kg_per_m3 : float
        Of its material.
    wall_mm : float
        Thickness of its walls.

    Returns
    -------
    surface_m2 : float

    Examples
    --------
    >>> round(wall_surface(78.5, 7850.0, 20.0), 6)
    1.0
    """
    volume = positive("mass_kg", mass_kg) / positive("density", density_kg_per_m3)
    return 2.0 * volume / (positive("wall_mm", wall_mm) / 1000.0)
