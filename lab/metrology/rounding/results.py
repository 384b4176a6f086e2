"""A value and its expanded uncertainty as they are printed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import ROUND_CEILING, ROUND_HALF_UP, Decimal
from typing import Literal

from lab.metrology.decimals import exact, exact_positive
from lab.metrology.errors import BadUnit, OutOfDomain
from lab.metrology.rounding.digits import (
    own_places,
    places_of,
    plain,
    round_significant,
    round_to,
)
from lab.metrology.rounding.units import convert, unit_named

__all__ = [
    "Bound",
    "PrintedResult",
    "print_quantity",
    "print_result",
    "reported_expanded_u",
]


@dataclass(frozen=True, slots=True)
class Bound:
    """A limit whose side the printed value must not change.

    Parameters
    ----------
    limit : Decimal
        In the base unit, unrounded.
    side : {"lower", "upper"}
        ``upper`` if values at or below the limit are the better ones.
    """

    limit: Decimal
    side: Literal["lower", "upper"]

    def keeps(self, number: Decimal, limit: Decimal) -> bool:
        """Tell whether the number lies on the better side, a tie included."""
        return number <= limit if self.side == "upper" else number >= limit


@dataclass(frozen=True, slots=True)
class PrintedResult:
    """A value and its expanded uncertainty as they are printed.

    ``value`` and ``expanded_u`` are the printed numbers for machines, in ``unit``;
    ``places`` is the decimal place of the last digit (negative for tens and above);
    ``extra_digits`` says how many digits were added to agree with the verdict.
    """

    value_text: str
    expanded_u_text: str
    unit: str
    value: Decimal
    expanded_u: Decimal
    places: int
    extra_digits: int

    @property
    def text(self) -> str:
        """Value and uncertainty in one text, such as ``(10.012 ± 0.020) mm``."""
        return f"({self.value_text} ± {self.expanded_u_text}) {self.unit}"


def reported_expanded_u(
    expanded_u: Decimal | float, cmc: Decimal | float | None = None
) -> Decimal:
    """Raise an expanded uncertainty to the smallest one that the method claims.

    Examples
    --------
    >>> reported_expanded_u(0.008, cmc=Decimal("0.010"))
    Decimal('0.010')
    """
    own = exact_positive("expanded_u", expanded_u)
    return own if cmc is None else max(own, exact_positive("cmc", cmc))


def print_result(
    value_mm: Decimal | float,
    expanded_u_mm: Decimal | float,
    *,
    unit: str = "mm",
    digits: int = 2,
    cmc_mm: Decimal | float | None = None,
    bounds: Sequence[Bound] = (),
) -> PrintedResult:
    """Print a length and its expanded uncertainty.

    Parameters
    ----------
    value_mm, expanded_u_mm : Decimal or float
        Unrounded, in millimetres.
    unit : {"mm", "in", "µm"}
        Unit of the printed text.
    digits : {1, 2}
        Significant digits of U.
    cmc_mm : Decimal or float, optional
        Smallest expanded uncertainty that the method claims at this size, in mm.
    bounds : sequence of Bound
        Limits, in mm, of which the printed value must stay on the same side. A
        :class:`lab.metrology.conformity.Decision` brings its own printed result,
        made with the right bounds.

    Returns
    -------
    PrintedResult

    Raises
    ------
    NotFinite, OutOfDomain, BadUnit
        If a number is unusable, ``digits`` is neither 1 nor 2, or the unit is no
        length.

    Examples
    --------
    >>> print_result(10.01234, 0.0996).text
    '(10.01 ± 0.10) mm'
    >>> print_result(10.01234, 0.0996, unit="in").text
    '(0.3942 ± 0.0039) in'
    """
    if unit_named(unit).base != "mm":
        msg = f"unit of a length must be mm, in or µm; got {unit!r}."
        raise BadUnit(msg)
    return print_quantity(
        value_mm, expanded_u_mm, unit=unit, digits=digits, cmc=cmc_mm, bounds=bounds
    )


def print_quantity(
    value: Decimal | float,
    expanded_u: Decimal | float,
    *,
    unit: str,
    digits: int = 2,
    cmc: Decimal | float | None = None,
    bounds: Sequence[Bound] = (),
) -> PrintedResult:
    """Print a value of any quantity and its expanded uncertainty.

    As :func:`print_result`; all numbers are in the base unit of ``unit`` (``mm`` for
    ``mm``, ``in`` and ``µm``; else the unit itself: ``deg``, ``rad``, ``degC``, ``K``).

    Examples
    --------
    >>> print_quantity(90.00312, 0.0123, unit="deg").text
    '(90.003 ± 0.012) °'
    """
    printing = unit_named(unit)
    number = convert(exact("value", value), unit)
    spread = convert(reported_expanded_u(expanded_u, cmc), unit)
    floor = None if cmc is None else convert(exact_positive("cmc", cmc), unit)
    limits = [(bound, convert(bound.limit, unit)) for bound in bounds]
    if digits not in (1, 2):
        msg = f"digits must be 1 or 2, got {digits}."
        raise OutOfDomain(msg)
    extra = 0
    rounded = _round_spread(spread, digits, floor)
    while _contradicts(number, places_of(rounded), limits):
        extra += 1
        rounded = _round_spread(spread, digits + extra, floor)
    places = places_of(rounded)
    shown = round_to(number, places)
    if shown == 0:
        shown = abs(shown)  # No minus zero.
    return PrintedResult(
        value_text=plain(shown),
        expanded_u_text=plain(rounded),
        unit=printing.symbol,
        value=shown,
        expanded_u=rounded,
        places=places,
        extra_digits=extra,
    )


def _round_spread(spread: Decimal, digits: int, floor: Decimal | None) -> Decimal:
    rounded = round_significant(spread, digits, ROUND_HALF_UP)
    if digits == 1 and rounded < spread * Decimal("0.95"):
        rounded = round_significant(spread, digits, ROUND_CEILING)
    if floor is not None and rounded < floor:
        rounded = round_significant(spread, digits, ROUND_CEILING)
    return rounded


def _contradicts(
    number: Decimal, places: int, limits: Sequence[tuple[Bound, Decimal]]
) -> bool:
    shown = round_to(number, places)
    for bound, limit in limits:
        truth = bound.keeps(number, limit)
        if bound.keeps(shown, round_to(limit, places)) != truth:
            return True
        if own_places(limit) is not None and bound.keeps(shown, limit) != truth:
            return True
    return False
