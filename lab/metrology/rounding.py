"""The printed text of a value and its expanded uncertainty; made here only.

Rules, decided on unrounded numbers in ``Decimal``:

* The expanded uncertainty U is printed to two significant digits, to the nearest,
  ties up (0.0996 becomes 0.10); to one digit where asked for, if that is not below
  U by more than 5 %, else up (JCGM 100, 7.2.6; EA-4/02 M:2022, 6.3).
* The value is printed to the same decimal place, ties away from zero
  (ISO 80000-1:2009, annex B, rule B).
* U is never printed below the smallest uncertainty that the method claims (CMC;
  ILAC-P14:09/2020, 5.4).
* Where the printed value would stand on the other side of a limit than the unrounded
  one, so that the digits contradict the verdict, value and U get one digit more, and
  again until they agree.
* Millimetres and inches are each rounded from the unrounded value.

The minus sign in texts is the typographic one (U+2212); :attr:`PrintedResult.value`
holds the printed number as a ``Decimal`` for machines. The clause numbers are from
memory.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import ROUND_CEILING, ROUND_HALF_UP, Decimal, InvalidOperation
from typing import Literal

from lab.metrology.decimals import PRECISE, exact, exact_positive
from lab.metrology.errors import BadUnit, OutOfDomain

__all__ = [
    "Bound",
    "PrintedResult",
    "Unit",
    "convert",
    "print_coverage_factor",
    "print_limit",
    "print_probability",
    "print_quantity",
    "print_result",
    "reported_expanded_u",
    "unit_named",
]


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

# A limit that a person typed ends within so many decimals; a computed or converted
# one that does not is printed, and compared, at the place of the value.
_TYPED_DECIMALS = 8


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
    shown = _round_to(number, places)
    if shown == 0:
        shown = abs(shown)  # No minus zero.
    return PrintedResult(
        value_text=_plain(shown),
        expanded_u_text=_plain(rounded),
        unit=printing.symbol,
        value=shown,
        expanded_u=rounded,
        places=places,
        extra_digits=extra,
    )


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
    own = None if computed else _own_places(number)
    return _plain(_round_to(number, places if own is None else max(places, own)))


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
    return f"{_plain(_round_to(percent, places))} %"


def print_coverage_factor(coverage_factor: Decimal | float) -> str:
    """Print a coverage factor to two decimals.

    Examples
    --------
    >>> print_coverage_factor(2)
    '2.00'
    """
    return _plain(_round_to(exact_positive("coverage_factor", coverage_factor), 2))


def places_of(number: Decimal) -> int:
    """Give the decimal place of a number's last digit."""
    exponent = number.as_tuple().exponent
    return -exponent if isinstance(exponent, int) else 0


def _round_to(number: Decimal, places: int, rounding: str = ROUND_HALF_UP) -> Decimal:
    try:
        return number.quantize(Decimal(1).scaleb(-places), rounding, context=PRECISE)
    except InvalidOperation:
        msg = f"{number} has too many digits to be printed to {places} decimals."
        raise OutOfDomain(msg) from None


def _round_spread(spread: Decimal, digits: int, floor: Decimal | None) -> Decimal:
    rounded = _significant(spread, digits, ROUND_HALF_UP)
    if digits == 1 and rounded < spread * Decimal("0.95"):
        rounded = _significant(spread, digits, ROUND_CEILING)
    if floor is not None and rounded < floor:
        rounded = _significant(spread, digits, ROUND_CEILING)
    return rounded


def _significant(spread: Decimal, digits: int, rounding: str) -> Decimal:
    places = digits - 1 - spread.adjusted()
    rounded = _round_to(spread, places, rounding)
    if rounded.adjusted() > spread.adjusted():
        # 0.0996 became 0.100: a digit too many, so its last zero goes.
        rounded = _round_to(rounded, places - 1)
    return rounded


def _own_places(number: Decimal) -> int | None:
    # The decimals of a number that ends early enough to have been typed.
    places = places_of(PRECISE.normalize(number))
    return max(places, 0) if places <= _TYPED_DECIMALS else None


def _contradicts(
    number: Decimal, places: int, limits: Sequence[tuple[Bound, Decimal]]
) -> bool:
    shown = _round_to(number, places)
    for bound, limit in limits:
        truth = bound.keeps(number, limit)
        if bound.keeps(shown, _round_to(limit, places)) != truth:
            return True
        if _own_places(limit) is not None and bound.keeps(shown, limit) != truth:
            return True
    return False


def _plain(number: Decimal) -> str:
    if number == 0:
        number = abs(number)
    return f"{number:f}".replace("-", "\N{MINUS SIGN}")
