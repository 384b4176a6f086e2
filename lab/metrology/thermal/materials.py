"""Handbook values of materials: defaults only, with wide uncertainties.

Handbook coefficients of thermal expansion are means over a temperature range
that differs from table to table, for an alloy that is rarely the one at hand;
"steel" says next to nothing. So every default here carries a standard
uncertainty of at least 10 %, more where the tables differ by more, and its
source, and is meant to be overridden by the part's own material record.

Densities, heat capacities and conductivities serve the prediction of soaking
times only, which is a range of a factor of six anyway; they are recalled
textbook values.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final

from lab.metrology.arrays import finite
from lab.metrology.errors import OutOfDomain, TooFew
from lab.metrology.thermal.length import Expansion

__all__ = [
    "MATERIALS",
    "CoefficientSpread",
    "Material",
    "MeanCoefficient",
    "coefficient_spread",
    "coefficients_over",
    "material",
]

_SWYT = "Swyt, J. Res. Natl. Inst. Stand. Technol. 99 (1994) 31-44, introduction"
_TABLES = "general engineering tables, several of which agree"
_LEAST_RELATIVE_U: Final = 0.10


@dataclass(frozen=True, slots=True)
class MeanCoefficient:
    """A published mean coefficient with the range and the source it is for."""

    per_k: float
    low_degc: float
    high_degc: float
    source: str

    def __post_init__(self) -> None:
        """Refuse a coefficient without a range or without a source."""
        finite("expansion_per_k", self.per_k)
        if not finite("low_degc", self.low_degc) < finite("high_degc", self.high_degc):
            raise OutOfDomain(
                f"The range {self.low_degc:g} to {self.high_degc:g} °C of a mean "
                "coefficient is empty."
            )
        if not self.source.strip():
            raise OutOfDomain("A mean coefficient needs its source.")


@dataclass(frozen=True, slots=True)
class CoefficientSpread:
    """How far published mean coefficients of one material lie apart."""

    lowest_per_k: float
    highest_per_k: float
    spread_per_k: float


@dataclass(frozen=True, slots=True)
class Material:
    """One line of the table of defaults.

    `conductivity_w_per_m_k` is for the poorest direction where that differs.
    """

    name: str
    expansion: Expansion
    density_kg_per_m3: float
    heat_capacity_j_per_kg_k: float
    conductivity_w_per_m_k: float
    source: str
    note: str


def _line(
    name: str,
    per_k_millionths: float,
    half_width_millionths: float,
    soak: tuple[float, float, float],
    source: str,
    note: str = "",
) -> Material:
    """Make a line; u is the half-width over √3, or 10 % if that is more."""
    u_millionths = max(
        half_width_millionths / 3.0**0.5, _LEAST_RELATIVE_U * abs(per_k_millionths)
    )
    density, heat_capacity, conductivity = soak
    return Material(
        name=name,
        expansion=Expansion(per_k_millionths * 1e-6, u_millionths * 1e-6),
        density_kg_per_m3=density,
        heat_capacity_j_per_kg_k=heat_capacity,
        conductivity_w_per_m_k=conductivity,
        source=source,
        note=note,
    )


MATERIALS: Final[Mapping[str, Material]] = MappingProxyType(
    {
        line.name: line
        for line in (
            _line("aluminium", 23.1, 1.5, (2700.0, 900.0, 150.0), _SWYT),
            _line("steel", 11.5, 1.5, (7850.0, 460.0, 45.0), _SWYT),
            _line("silicon", 2.6, 0.1, (2330.0, 700.0, 140.0), _SWYT),
            _line(
                "invar",
                1.2,
                0.8,
                (8100.0, 515.0, 10.0),
                _TABLES,
                "0.5 to 2 by heat treatment",
            ),
            _line("cast iron", 11.0, 1.0, (7200.0, 500.0, 45.0), _TABLES),
            _line("brass", 19.0, 1.5, (8500.0, 380.0, 110.0), _TABLES),
            _line(
                "austenitic stainless steel",
                17.3,
                1.5,
                (7900.0, 500.0, 15.0),
                _TABLES,
            ),
            _line("titanium", 8.6, 0.5, (4500.0, 520.0, 7.0), _TABLES),
            _line(
                "granite",
                7.9,
                2.9,
                (2700.0, 800.0, 2.5),
                _TABLES,
                "tables give 5 to 9",
            ),
            _line("copper", 17.0, 1.0, (8960.0, 385.0, 390.0), _TABLES),
            _line(
                "glass ceramic of zero expansion",
                0.02,
                0.1,
                (2530.0, 800.0, 1.5),
                _TABLES,
                "0 ± 0.1 by class",
            ),
            _line("fused quartz", 0.59, 0.1, (2200.0, 740.0, 1.4), _TABLES),
            _line(
                "carbon fibre laminate",
                0.8,
                2.2,
                (1600.0, 900.0, 0.7),
                _TABLES,
                "-0.5 to 3 along the fibre; much more across it",
            ),
        )
    }
)
"""Defaults by name; every expansion is a mean near room temperature."""


def material(name: str) -> Material:
    """Return a line of the table.

    Parameters
    ----------
    name : str
        One of `MATERIALS`.

    Returns
    -------
    material : Material

    Raises
    ------
    OutOfDomain
        If there is no such line, with the names that there are.

    Examples
    --------
    >>> material("steel").expansion.per_k
    1.15e-05
    """
    found = MATERIALS.get(name)
    if found is None:
        raise OutOfDomain(
            f"There is no material {name!r} in the table; it holds "
            f"{', '.join(MATERIALS)}. Enter the coefficient with its source instead."
        )
    return found


def coefficients_over(
    records: Sequence[MeanCoefficient], low_degc: float, high_degc: float
) -> tuple[MeanCoefficient, ...]:
    """Return the published coefficients that are means over exactly that range.

    Parameters
    ----------
    records : sequence of MeanCoefficient
        Published values of one material.
    low_degc, high_degc : float
        The range, in °C. A mean over 20 to 400 °C says little about 20 to 25 °C,
        so a wider range is no match.

    Returns
    -------
    records : tuple of MeanCoefficient
        In the order given; may be empty.

    Examples
    --------
    >>> record = MeanCoefficient(11.5e-6, 20.0, 100.0, "a table")
    >>> len(coefficients_over([record], 20.0, 100.0))
    1
    """
    return tuple(
        record
        for record in records
        if record.low_degc == low_degc and record.high_degc == high_degc
    )


def coefficient_spread(records: Sequence[MeanCoefficient]) -> CoefficientSpread:
    """Say how far apart published coefficients of one material lie.

    Parameters
    ----------
    records : sequence of MeanCoefficient
        Published values, two or more.

    Returns
    -------
    spread : CoefficientSpread

    Raises
    ------
    TooFew
        If there are fewer than two.

    References
    ----------
    .. [1] NIST Engineering Metrology Toolbox, temperature tutorial, slides 12-13.

    Examples
    --------
    >>> one = MeanCoefficient(11.2e-6, 0.0, 100.0, "table 3")
    >>> other = MeanCoefficient(14.6e-6, 21.0, 650.0, "table 1")
    >>> round(coefficient_spread([one, other]).spread_per_k * 1e6, 6)
    3.4
    """
    if len(records) < 2:
        raise TooFew(
            f"records holds {len(records)} coefficient(s); a spread needs two or more."
        )
    values = [record.per_k for record in records]
    return CoefficientSpread(min(values), max(values), max(values) - min(values))
