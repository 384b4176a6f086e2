r"""Units as digital certificates write them (``\milli\metre``), in units of ours.

The notation is that of the D-SI data model: SI names after a backslash, prefixes
before them (SI brochure, tables 2, 4 and 7). A unit that we don't use is kept as it
is written, and its value is shown but not taken.
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal, InvalidOperation
from typing import Final

ZERO_DEGC_IN_K: Final = Decimal("273.15")


@dataclass(frozen=True, slots=True)
class Conversion:
    """A unit of ours and what a number is multiplied by to be in it."""

    unit: str
    factor: Decimal = Decimal(1)


#: Ordered by what we would choose of several forms of one value.
CONVERSIONS: Final = {
    r"\milli\metre": Conversion("mm"),
    r"\micro\metre": Conversion("µm"),
    r"\nano\metre": Conversion("µm", Decimal("0.001")),
    r"\centi\metre": Conversion("mm", Decimal(10)),
    r"\metre": Conversion("m"),
    r"\degreecelsius": Conversion("°C"),
    r"\degreeCelsius": Conversion("°C"),
    r"\milli\kelvin": Conversion("mK"),
    r"\kelvin": Conversion("K"),
}
PREFERENCE: Final = {name: place for place, name in enumerate(CONVERSIONS)}
LENGTHS: Final = frozenset({"mm", "µm", "m"})
TEMPERATURES: Final = frozenset({"°C", "K", "mK"})


def conversion_of(written: str) -> Conversion | None:
    return CONVERSIONS.get(written.replace(" ", ""))


def preference(written: str) -> int:
    """Return how gladly a form of a value in this unit is taken; lower is better."""
    return PREFERENCE.get(written.replace(" ", ""), len(PREFERENCE))


def number(text: str) -> Decimal | None:
    """Return a number of the file; None if it is none, or not finite."""
    try:
        found = Decimal(text.strip())
    except InvalidOperation:
        return None
    # Far beyond any measurement, and a few letters that would print as megabytes.
    if not found.is_finite() or abs(found.adjusted()) > 30:
        return None
    return found


def plain(value: Decimal) -> str:
    """Return a decimal without an exponent, as many digits as it has."""
    return f"{value:f}"
