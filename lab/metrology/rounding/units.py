"""The units in which results are printed."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from lab.metrology.decimals import PRECISE
from lab.metrology.errors import BadUnit

__all__ = ["Unit", "convert", "unit_named"]


@dataclass(frozen=True, slots=True)
class Unit:
    """A unit of printing: its sign, the unit inside, and how many of that it holds."""

    symbol: str
    base: str
    base_per_unit: Decimal


_UNITS = {
    "mm": Unit("mm", "mm", Decimal(1)),
    "in": Unit("in", "mm", Decimal("25.4")),
    "µm": Unit("µm", "mm", Decimal("0.001")),
    "deg": Unit("°", "deg", Decimal(1)),
    "rad": Unit("rad", "rad", Decimal(1)),
    "degC": Unit("°C", "degC", Decimal(1)),
    "K": Unit("K", "K", Decimal(1)),
}
_UNITS |= {"°": _UNITS["deg"], "°C": _UNITS["degC"]}


def unit_named(name: str) -> Unit:
    """Give the printing unit of a name.

    Raises
    ------
    BadUnit
        If no such unit is known.

    Examples
    --------
    >>> unit_named("in").base_per_unit
    Decimal('25.4')
    """
    try:
        return _UNITS[name]
    except KeyError:
        known = ", ".join(_UNITS)
        msg = f"unit must be one of {known}; got {name!r}."
        raise BadUnit(msg) from None


def convert(value: Decimal, unit: str) -> Decimal:
    """Convert a value from the base unit (millimetres for lengths) to ``unit``.

    Examples
    --------
    >>> convert(Decimal("10.16"), "in")
    Decimal('0.4')
    """
    return PRECISE.divide(value, unit_named(unit).base_per_unit)
