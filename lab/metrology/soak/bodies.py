"""The part as a lump of heat: its time constant and when that notion holds."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

from lab.metrology.arrays import finite, positive
from lab.metrology.errors import OutOfDomain

__all__ = [
    "AIR_FILM_W_PER_M2_K",
    "BiotTooLarge",
    "Body",
    "Room",
    "TimeConstant",
    "biot_number",
    "refuse_thick",
    "time_constant",
]

AIR_FILM_W_PER_M2_K: Final = (5.0, 30.0)
"""Film coefficients from still air to moving laboratory air, radiation included.

Recalled textbook ranges: 5-10 W/(m²·K) in still air, 10-30 in moving air.
"""

_LARGEST_BIOT: Final = 0.1


class BiotTooLarge(OutOfDomain):
    """The part is too thick for its conductivity to have one temperature."""


@dataclass(frozen=True, slots=True)
class Body:
    """What decides how a part takes up the room's temperature."""

    mass_kg: float
    surface_m2: float
    density_kg_per_m3: float
    heat_capacity_j_per_kg_k: float
    conductivity_w_per_m_k: float

    def __post_init__(self) -> None:
        """Refuse values that aren't positive, and surfaces too small to be true."""
        positive("mass_kg", self.mass_kg)
        positive("surface_m2", self.surface_m2)
        positive("density_kg_per_m3", self.density_kg_per_m3)
        positive("heat_capacity_j_per_kg_k", self.heat_capacity_j_per_kg_k)
        positive("conductivity_w_per_m_k", self.conductivity_w_per_m_k)
        # No body has less surface than the sphere of its volume.
        least_m2 = (36.0 * math.pi) ** (1 / 3) * self.volume_m3 ** (2 / 3)
        if self.surface_m2 < least_m2 * (1.0 - 1e-9):
            raise OutOfDomain(
                f"surface_m2 is {self.surface_m2:g}, less than the {least_m2:.3g} m² "
                "of a sphere of that mass and density; check the units."
            )

    @property
    def volume_m3(self) -> float:
        """Volume, from mass and density."""
        return self.mass_kg / self.density_kg_per_m3

    @property
    def heat_capacity_j_per_k(self) -> float:
        """Heat capacity of the whole body."""
        return self.mass_kg * self.heat_capacity_j_per_kg_k


@dataclass(frozen=True, slots=True)
class TimeConstant:
    """The range in which a part's time constant lies, and where it is from."""

    shortest_s: float
    longest_s: float
    origin: str

    def __post_init__(self) -> None:
        """Refuse ranges that are upside down."""
        if not 0.0 < self.shortest_s <= self.longest_s < math.inf:
            raise OutOfDomain(
                f"The time constant's range {self.shortest_s:g} to "
                f"{self.longest_s:g} s must be positive and in order."
            )


@dataclass(frozen=True, slots=True)
class Room:
    """The room's air: its temperature and how fast it drifts."""

    degc: float
    drift_k_per_h: float = 0.0

    def __post_init__(self) -> None:
        """Refuse what isn't finite."""
        finite("room_degc", self.degc)
        finite("drift_k_per_h", self.drift_k_per_h)


def time_constant(
    body: Body, film_w_per_m2_k: tuple[float, float] = AIR_FILM_W_PER_M2_K
) -> TimeConstant:
    """Return the range of a part's time constant, τ = m·c/(h·A).

    Parameters
    ----------
    body : Body
        The part.
    film_w_per_m2_k : tuple of float
        Lowest and highest film coefficient, in W/(m²·K).

    Returns
    -------
    constant : TimeConstant

    Raises
    ------
    BiotTooLarge
        If the Biot number at the highest film coefficient exceeds 0.1.
    OutOfDomain
        If the film coefficients aren't positive and in order.

    References
    ----------
    .. [1] Incropera, F. P., DeWitt, D. P., Fundamentals of Heat and Mass
       Transfer, ch. 5 (lumped capacitance and its limit).

    Examples
    --------
    >>> cube = Body(7.85, 0.06, 7850.0, 460.0, 45.0)
    >>> constant = time_constant(cube, (5.0, 10.0))
    >>> round(constant.longest_s / 3600, 6), round(constant.shortest_s / 3600, 6)
    (3.343519, 1.671759)
    """
    low, high = (positive("film_w_per_m2_k", film) for film in film_w_per_m2_k)
    if low > high:
        raise OutOfDomain(f"film_w_per_m2_k runs from {low:g} to {high:g}; exchange.")
    refuse_thick(body, high)
    heat_over_surface = body.heat_capacity_j_per_k / body.surface_m2
    return TimeConstant(
        shortest_s=heat_over_surface / high,
        longest_s=heat_over_surface / low,
        origin=f"mass, surface and a film of {low:g} to {high:g} W/(m²·K)",
    )


def biot_number(body: Body, film_w_per_m2_k: float) -> float:
    """Return h·(V/A)/k, the inside's resistance over the surface's.

    Parameters
    ----------
    body : Body
        The part.
    film_w_per_m2_k : float
        Film coefficient, in W/(m²·K).

    Returns
    -------
    biot : float

    Examples
    --------
    >>> round(biot_number(Body(7.85, 0.06, 7850.0, 460.0, 45.0), 30.0), 4)
    0.0111
    """
    film = positive("film_w_per_m2_k", film_w_per_m2_k)
    return film * body.volume_m3 / body.surface_m2 / body.conductivity_w_per_m_k


def refuse_thick(body: Body, film_w_per_m2_k: float) -> None:
    """Refuse a body for which one temperature isn't enough.

    Parameters
    ----------
    body : Body
        The part.
    film_w_per_m2_k : float
        Film coefficient, in W/(m²·K).

    Raises
    ------
    BiotTooLarge
        If the Biot number exceeds 0.1.
    """
    biot = biot_number(body, film_w_per_m2_k)
    if biot > _LARGEST_BIOT:
        raise BiotTooLarge(
            f"The Biot number is {biot:.2g} with {film_w_per_m2_k:.3g} W/(m²·K), above "
            "0.1: the part is too thick for its conductivity to have one temperature. "
            "Measure the temperature at several depths or places instead."
        )
