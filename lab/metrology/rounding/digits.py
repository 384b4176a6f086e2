"""Rounding of decimals to a place or to significant digits, and their plain text."""

from __future__ import annotations

from decimal import ROUND_HALF_UP, Decimal, InvalidOperation

from lab.metrology.decimals import PRECISE
from lab.metrology.errors import OutOfDomain

__all__ = ["own_places", "places_of", "plain", "round_significant", "round_to"]

# A limit that a person typed ends within so many decimals; a computed or converted
# one that does not is printed, and compared, at the place of the value.
_TYPED_DECIMALS = 8


def places_of(number: Decimal) -> int:
    """Give the decimal place of a number's last digit."""
    exponent = number.as_tuple().exponent
    return -exponent if isinstance(exponent, int) else 0


def round_to(number: Decimal, places: int, rounding: str = ROUND_HALF_UP) -> Decimal:
    """Round to a decimal place; ties away from zero unless told otherwise.

    Raises
    ------
    OutOfDomain
        If the number has more than fifty digits there.
    """
    try:
        return number.quantize(Decimal(1).scaleb(-places), rounding, context=PRECISE)
    except InvalidOperation:
        msg = f"{number} has too many digits to be printed to {places} decimals."
        raise OutOfDomain(msg) from None


def round_significant(spread: Decimal, digits: int, rounding: str) -> Decimal:
    """Round a number other than zero to significant digits."""
    places = digits - 1 - spread.adjusted()
    rounded = round_to(spread, places, rounding)
    if rounded.adjusted() > spread.adjusted():
        # 0.0996 became 0.100: a digit too many, so its last zero goes.
        rounded = round_to(rounded, places - 1)
    return rounded


def own_places(number: Decimal) -> int | None:
    """Give the decimals of a number, or None if it has too many to have been typed."""
    places = places_of(PRECISE.normalize(number))
    return max(places, 0) if places <= _TYPED_DECIMALS else None


def plain(number: Decimal) -> str:
    """Write a decimal without exponent, with a typographic minus and no minus zero."""
    if number == 0:
        number = abs(number)
    return f"{number:f}".replace("-", "\N{MINUS SIGN}")
