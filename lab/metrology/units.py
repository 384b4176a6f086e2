"""Typed quantities: a number as a person wrote it, its unit, and one exact value.

What was typed is the record. It is kept as text with its unit and converted once,
in ``Decimal``, to the base unit of its kind (millimetres, degrees Celsius, kelvin,
kilograms). How a number is read is in :mod:`lab.metrology.typed`.

The factors are exact by definition: the inch is 25.4 mm and the avoirdupois pound
0.453 592 37 kg (international yard and pound agreement of 1959); degrees Fahrenheit
follow from t/°C = (t/°F - 32) / 1.8 (NIST SP 811, appendix B.9). From memory.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from decimal import Decimal
from typing import Final

from lab.metrology.decimals import PRECISE
from lab.metrology.errors import BadUnit, OutOfDomain
from lab.metrology.typed import AmbiguousNumber, NotANumber, parse_decimal

__all__ = [
    "ANGLE",
    "AREA",
    "EXPANSION",
    "HUMIDITY",
    "KINDS",
    "LENGTH",
    "MASS",
    "PRESSURE",
    "TEMPERATURE",
    "TEMPERATURE_DIFFERENCE",
    "TEMPERATURE_GRADIENT",
    "TEMPERATURE_RATE",
    "AmbiguousNumber",
    "Kind",
    "NotANumber",
    "Quantity",
    "Unit",
    "kind_of",
    "parse_decimal",
    "unit_named",
]


@dataclass(frozen=True, slots=True)
class Unit:
    """A unit: ``base = (number - zero) * factor``, or ``/ divisor`` where given.

    ``terminating`` is False where a short decimal need not become a short one, so
    that the value is rounded to the places of the kind.
    """

    symbol: str
    factor: Decimal = Decimal(1)
    zero: Decimal = Decimal(0)
    divisor: Decimal = Decimal(1)
    terminating: bool = True


@dataclass(frozen=True, slots=True)
class Kind:
    """A kind of quantity: its base unit, the units it is typed in, and its bounds.

    ``suffix`` is how a name carries the base unit (``length_mm``); ``digits`` and
    ``places`` say how much of a value a column keeps.
    """

    name: str
    suffix: str
    units: tuple[Unit, ...]
    digits: int = 20
    places: int = 9
    minimum: Decimal | None = None

    @property
    def base(self) -> str:
        """The symbol of the base unit, which stands first among the units."""
        return self.units[0].symbol

    @property
    def symbols(self) -> tuple[str, ...]:
        """The symbols of all its units, the base unit first."""
        return tuple(unit.symbol for unit in self.units)


LENGTH: Final = Kind(
    "length",
    "mm",
    (
        Unit("mm"),
        Unit("µm", factor=Decimal("0.001")),
        Unit("m", factor=Decimal(1000)),
        Unit("in", factor=Decimal("25.4")),
    ),
)
TEMPERATURE: Final = Kind(
    "temperature",
    "degc",
    (
        Unit("°C"),
        Unit("°F", zero=Decimal(32), divisor=Decimal("1.8"), terminating=False),
    ),
    minimum=Decimal("-273.15"),
)
TEMPERATURE_DIFFERENCE: Final = Kind(
    "temperature difference", "k", (Unit("K"), Unit("mK", factor=Decimal("0.001")))
)
TEMPERATURE_RATE: Final = Kind(
    "rate of temperature", "k_per_h", (Unit("K/h"), Unit("K/min", factor=Decimal(60)))
)
TEMPERATURE_GRADIENT: Final = Kind("temperature gradient", "k_per_m", (Unit("K/m"),))
EXPANSION: Final = Kind(
    "coefficient of thermal expansion",
    "per_k",
    (Unit("1/K"), Unit("µm/(m·K)", factor=Decimal("1e-6"))),
    places=15,
)
MASS: Final = Kind(
    "mass",
    "kg",
    (
        Unit("kg"),
        Unit("g", factor=Decimal("0.001")),
        Unit("lb", factor=Decimal("0.45359237"), terminating=False),
    ),
    minimum=Decimal(0),
)
AREA: Final = Kind(
    "area",
    "m2",
    (
        Unit("m²"),
        Unit("cm²", factor=Decimal("1e-4")),
        Unit("in²", factor=Decimal("0.00064516"), terminating=False),
    ),
    minimum=Decimal(0),
)
ANGLE: Final = Kind("angle", "deg", (Unit("°"),))
HUMIDITY: Final = Kind("relative humidity", "percent", (Unit("%"),), minimum=Decimal(0))
PRESSURE: Final = Kind(
    "pressure",
    "hpa",
    (Unit("hPa"), Unit("kPa", factor=Decimal(10))),
    minimum=Decimal(0),
)

#: Every kind. A symbol belongs to one kind only, so a symbol names its kind.
KINDS: Final = (
    LENGTH,
    TEMPERATURE,
    TEMPERATURE_DIFFERENCE,
    TEMPERATURE_RATE,
    TEMPERATURE_GRADIENT,
    EXPANSION,
    MASS,
    AREA,
    ANGLE,
    HUMIDITY,
    PRESSURE,
)
_BY_SYMBOL: Final = {unit.symbol: (kind, unit) for kind in KINDS for unit in kind.units}
#: Other spellings that keyboards and files bring; the Greek mu is not the micro sign.
_SPELLINGS: Final = {
    "um": "µm",
    "\N{GREEK SMALL LETTER MU}m": "µm",
    "inch": "in",
    '"': "in",
    "degC": "°C",
    "degF": "°F",
    "m2": "m²",
    "cm2": "cm²",
    "in2": "in²",
    "deg": "°",
}


@dataclass(frozen=True, slots=True)
class Quantity:
    """A typed quantity: the text, its unit, and the value in the base unit.

    Parameters
    ----------
    text : str
        The number as typed; kept so, but for outer white space.
    unit : str
        The symbol of its unit, which also names its kind.

    Attributes
    ----------
    value : Decimal
        In the base unit of the kind, made once from the text.

    Raises
    ------
    NotANumber, AmbiguousNumber, NotFinite
        As :func:`parse_decimal` does.
    BadUnit
        If the unit is unknown.
    OutOfDomain
        If the value has more digits than are kept, or lies below what the kind allows.

    Examples
    --------
    >>> Quantity("0,5", "in").value
    Decimal('12.70')
    >>> str(Quantity("20.0", "°C"))
    '20.0 °C'
    """

    text: str
    unit: str
    value: Decimal = field(init=False)

    def __post_init__(self) -> None:
        """Make the value from the text, so that the two can never disagree."""
        kind, unit = _BY_SYMBOL[unit_named(self.unit).symbol]
        object.__setattr__(self, "text", self.text.strip())
        object.__setattr__(self, "unit", unit.symbol)
        object.__setattr__(self, "value", _to_base(self.text, unit, kind))

    def __str__(self) -> str:
        """Return number and unit as typed."""
        return f"{self.text}{'' if self.unit == '°' else ' '}{self.unit}"

    @property
    def kind(self) -> Kind:
        """What kind of quantity this is."""
        return kind_of(self.unit)

    @classmethod
    def from_decimal(cls, number: Decimal, unit: str) -> Quantity:
        """Make the quantity that a person would have typed for a number in a unit.

        Examples
        --------
        >>> Quantity.from_decimal(Decimal("12.345"), "mm").text
        '12.345'
        """
        return cls(
            f"{number:f}" if abs(number) >= Decimal("1e-9") else str(number), unit
        )


def unit_named(symbol: str) -> Unit:
    """Give the unit of a symbol, in any of its usual spellings.

    Raises
    ------
    BadUnit
        If no such unit is known.

    Examples
    --------
    >>> unit_named("um").symbol
    'µm'
    """
    return _find(symbol)[1]


def kind_of(symbol: str) -> Kind:
    """Give the kind of quantity that a unit belongs to.

    Raises
    ------
    BadUnit
        If no such unit is known.

    Examples
    --------
    >>> kind_of("in").base
    'mm'
    """
    return _find(symbol)[0]


def _find(symbol: str) -> tuple[Kind, Unit]:
    typed = symbol.strip()
    try:
        return _BY_SYMBOL[_SPELLINGS.get(typed, typed)]
    except KeyError:
        known = ", ".join(_BY_SYMBOL)
        msg = f"unit must be one of {known}; got {symbol!r}."
        raise BadUnit(msg) from None


def _to_base(text: str, unit: Unit, kind: Kind) -> Decimal:
    number = parse_decimal(text)
    shifted = PRECISE.multiply(PRECISE.subtract(number, unit.zero), unit.factor)
    value = PRECISE.divide(shifted, unit.divisor) if unit.divisor != 1 else shifted
    if value.adjusted() >= kind.digits - kind.places:
        msg = f"{text} {unit.symbol} is larger than any {kind.name} that is kept."
        raise OutOfDomain(msg)
    kept = value.quantize(Decimal(1).scaleb(-kind.places), context=PRECISE)
    # A value may lose digits to the conversion, but never some that were typed.
    if (unit.terminating and kept != value) or _places(number) > kind.places:
        msg = f"{text} {unit.symbol} has more decimals than are kept; round it."
        raise OutOfDomain(msg)
    if kind.minimum is not None and kept < kind.minimum:
        msg = (
            f"{text} {unit.symbol} is below {kind.minimum} {kind.base}; check the sign."
        )
        raise OutOfDomain(msg)
    return value if kept == value and _places(value) >= 0 else kept


def _places(number: Decimal) -> int:
    exponent = number.as_tuple().exponent
    return -exponent if isinstance(exponent, int) else 0
