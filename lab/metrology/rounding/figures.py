"""Single figures that stand beside a result: limits, probabilities, shares."""

from __future__ import annotations

from decimal import ROUND_HALF_UP, Decimal

from lab.metrology.decimals import exact, exact_positive
from lab.metrology.errors import OutOfDomain
from lab.metrology.rounding.digits import (
    own_places,
    plain,
    round_significant,
    round_to,
)
from lab.metrology.rounding.units import convert

__all__ = [
    "print_coverage_factor",
    "print_limit",
    "print_probability",
    "print_significant",
]


def print_limit(
    limit: Decimal, places: int, unit: str = "mm", *, computed: bool = False
) -> str:
    """Print a limit beside a value: exactly if it was typed so, else at its place.

    Parameters
    ----------
    limit : Decimal
        In the base unit, unrounded.
    places : int
        Decimal place of the value beside it (:attr:`PrintedResult.places`).
    unit : str
        Unit of the printed text.
    computed : bool
        True for a limit that was computed (an acceptance limit), and so is rounded
        to the place of the value however many decimals it has.

    Examples
    --------
    >>> print_limit(Decimal("10.05"), 3)
    '10.050'
    >>> print_limit(Decimal("9.98355"), 3)
    '9.98355'
    >>> print_limit(Decimal("9.98355"), 3, computed=True)
    '9.984'
    """
    number = convert(limit, unit)
    own = None if computed else own_places(number)
    return plain(round_to(number, places if own is None else max(places, own)))


def print_probability(probability: float) -> str:
    """Print a probability in percent, two digits, never as a false 0 or 100.

    Examples
    --------
    >>> print_probability(0.0484)
    '4.8 %'
    >>> print_probability(0.99999999)
    'more than 99.99 %'
    """
    if not 0 <= probability <= 1:
        msg = f"probability must lie within 0 and 1, got {probability}."
        raise OutOfDomain(msg)
    if probability < 0.0001:
        return "less than 0.01 %"
    if probability > 0.9999:
        return "more than 99.99 %"
    percent = Decimal(repr(float(probability))) * 100
    nearest_end = min(percent, 100 - percent)
    places = 2 if nearest_end < 1 else 1
    return f"{plain(round_to(percent, places))} %"


def print_coverage_factor(coverage_factor: Decimal | float) -> str:
    """Print a coverage factor to two decimals.

    Examples
    --------
    >>> print_coverage_factor(2)
    '2.00'
    """
    return plain(round_to(exact_positive("coverage_factor", coverage_factor), 2))


def print_significant(number: Decimal | float, digits: int = 2) -> str:
    """Print a figure of a budget (a standard uncertainty, a share) to its digits.

    To the nearest, ties away from zero; zero is printed as 0.

    Examples
    --------
    >>> print_significant(0.00345), print_significant(-12.34, 3), print_significant(0)
    ('0.0035', '−12.3', '0')
    """
    if digits < 1:
        msg = f"digits must be at least 1, got {digits}."
        raise OutOfDomain(msg)
    whole = exact("number", number)
    if isinstance(number, float):
        whole = Decimal(repr(float(number)))
    if whole == 0:
        return "0"
    return plain(round_significant(whole, digits, ROUND_HALF_UP))
