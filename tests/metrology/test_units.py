"""Typed quantities: what is read, what is refused, and that conversion is exact."""

from __future__ import annotations

from dataclasses import FrozenInstanceError
from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lab.metrology.errors import BadUnit, MetrologyError, NotFinite, OutOfDomain
from lab.metrology.units import (
    EXPANSION,
    KINDS,
    LENGTH,
    TEMPERATURE,
    AmbiguousNumber,
    NotANumber,
    Quantity,
    kind_of,
    parse_decimal,
    unit_named,
)

lengths = st.decimals(-99_999, 99_999, places=4)
length_units = st.sampled_from(LENGTH.symbols)


@pytest.mark.parametrize(
    ("typed", "number"),
    [
        ("12.5", "12.5"),
        ("12,5", "12.5"),
        ("  12.50\t", "12.50"),
        ("1.234", "1.234"),
        ("0,234", "0.234"),
        ("-0,234", "-0.234"),
        ("12,3450", "12.3450"),
        ("1234,567", "1234.567"),
        ("\N{MINUS SIGN}3.5", "-3.5"),
        ("+7", "7"),
        (".5", "0.5"),
        ("1.15e-5", "0.0000115"),
        ("1,15E-5", "0.0000115"),
    ],
)
def test_reads_a_decimal_comma_and_a_decimal_point(typed: str, number: str) -> None:
    assert parse_decimal(typed) == Decimal(number)


@pytest.mark.parametrize(
    "typed",
    [
        "1,234.5",
        "1.234,5",
        "1,234",
        "-12,345",
        "123,456",
        "1,234,567",
        "1.234.567",
        "1 234",
        "12 345.6",
        "1\u202f234,5",
        "1\u00a0234",
        "1'234.5",
        "1’234",
        "1_000",
    ],
)
def test_refuses_what_has_or_may_have_a_separator_of_thousands(typed: str) -> None:
    with pytest.raises(AmbiguousNumber, match=r"could mean|separator of thousands"):
        parse_decimal(typed)


@pytest.mark.parametrize(
    "typed", ["nan", "NaN", "-nan", "sNaN1", "inf", "-Infinity", "∞"]
)
def test_refuses_what_is_not_finite(typed: str) -> None:
    with pytest.raises(NotFinite, match="not a finite number"):
        parse_decimal(typed)


@pytest.mark.parametrize(
    "typed",
    [
        "",
        "  ",
        "5.",
        "five",
        "1/2",
        "--1",
        "1e",
        "1e400",
        "0x10",
        "１２",
        "٣",
        "1" * 41,
    ],
)
def test_refuses_what_is_no_number(typed: str) -> None:
    with pytest.raises(NotANumber):
        parse_decimal(typed)


@pytest.mark.parametrize("typed", ["12.5 mm", "12.5mm", '2"', "20 °C", "5%"])
def test_a_unit_typed_after_the_number_is_sent_to_its_own_place(typed: str) -> None:
    with pytest.raises(NotANumber, match="choose its unit beside it"):
        parse_decimal(typed)


def test_a_file_that_names_its_separator_leaves_nothing_ambiguous() -> None:
    assert parse_decimal("12,345", decimal_separator=",") == Decimal("12.345")
    assert parse_decimal("12.345", decimal_separator=".") == Decimal("12.345")
    with pytest.raises(MetrologyError):
        parse_decimal("12.5", decimal_separator=",")
    with pytest.raises(MetrologyError):
        parse_decimal("12,5", decimal_separator=".")
    with pytest.raises(AmbiguousNumber, match="separator of thousands"):
        parse_decimal("1,234.5", decimal_separator=".")


@pytest.mark.parametrize(
    ("typed", "unit", "value"),
    [
        ("1", "in", "25.4"),
        ("1.23456789", "in", "31.358024406"),
        ("12.5", "µm", "0.0125"),
        ("2", "m", "2000"),
        ("68", "°F", "20"),
        ("70", "°F", "21.111111111"),
        ("-40", "°F", "-40"),
        ("11.5", "µm/(m·K)", "0.0000115"),
        ("1", "lb", "0.453592370"),
        ("2", "K/min", "120"),
        ("1", "in²", "0.000645160"),
    ],
)
def test_converts_by_the_exact_definitions(typed: str, unit: str, value: str) -> None:
    assert Quantity(typed, unit).value == Decimal(value)


def test_a_quantity_keeps_what_was_typed() -> None:
    quantity = Quantity(" 12,50 ", "um")
    assert (quantity.text, quantity.unit) == ("12,50", "µm")
    assert str(quantity) == "12,50 µm"
    assert str(Quantity("90", "°")) == "90°"
    assert quantity.kind is LENGTH
    with pytest.raises(FrozenInstanceError):
        quantity.text = "13"  # type: ignore[misc]


@pytest.mark.parametrize(
    ("typed", "unit", "words"),
    [
        ("1e11", "mm", "larger than any length"),
        ("0.0000000001", "mm", "more decimals than are kept"),
        ("0.000000001", "in", "more decimals than are kept"),
        ("1.0000000001", "°F", "more decimals than are kept"),
        ("-273.16", "°C", "below -273.15 °C"),
        ("-460", "°F", "below -273.15 °C"),
        ("-1", "kg", "below 0 kg; check the sign"),
    ],
)
def test_refuses_a_value_that_cannot_be(typed: str, unit: str, words: str) -> None:
    with pytest.raises(OutOfDomain, match=words):
        Quantity(typed, unit)


def test_refuses_an_unknown_unit_and_names_the_known_ones() -> None:
    with pytest.raises(BadUnit, match="one of mm, µm, m, in"):
        Quantity("1", "furlong")
    assert unit_named("\N{GREEK SMALL LETTER MU}m") == unit_named("µm")


def test_each_symbol_belongs_to_one_kind() -> None:
    symbols = [symbol for kind in KINDS for symbol in kind.symbols]
    assert len(symbols) == len(set(symbols))
    assert all(kind_of(kind.base) is kind for kind in KINDS)
    assert all(kind.units[0].factor == 1 and kind.units[0].zero == 0 for kind in KINDS)


@given(number=lengths, unit=length_units)
def test_comma_and_point_say_the_same(number: Decimal, unit: str) -> None:
    # Four decimals can't be taken for thousands, so that the comma is readable.
    typed = f"{number:f}"
    with_comma = Quantity(typed.replace(".", ","), unit)
    assert with_comma.value == Quantity(typed, unit).value
    assert Quantity(with_comma.text, with_comma.unit) == with_comma


@given(number=lengths, unit=length_units)
def test_a_length_is_converted_without_loss(number: Decimal, unit: str) -> None:
    factors = {"mm": Fraction(1), "µm": Fraction(1, 1000), "m": Fraction(1000)}
    factor = factors.get(unit, Fraction(254, 10))
    assert Fraction(Quantity(f"{number:f}", unit).value) == Fraction(number) * factor


@given(number=st.decimals(-450, 9_999, places=6))
def test_degrees_fahrenheit_are_right_to_the_last_kept_digit(number: Decimal) -> None:
    celsius = (Fraction(number) - 32) * Fraction(5, 9)
    error = Fraction(Quantity(f"{number:f}", "°F").value) - celsius
    assert abs(error) <= Fraction(1, 2 * 10**TEMPERATURE.places)


@given(number=st.decimals(-10_000, 10_000, places=8), unit=length_units)
def test_a_number_becomes_text_that_reads_as_the_same_number(
    number: Decimal, unit: str
) -> None:
    if unit != "µm":  # a micrometre has three decimals fewer to give
        assert parse_decimal(Quantity.from_decimal(number, unit).text) == number


@given(number=st.decimals("1e-12", "9e-5", places=15))
def test_a_coefficient_of_expansion_keeps_its_digits(number: Decimal) -> None:
    quantity = Quantity.from_decimal(number, "1/K")
    assert quantity.value == number
    assert quantity.kind is EXPANSION


@given(first=lengths, second=lengths, unit=st.sampled_from(["mm", "in", "m"]))
def test_conversion_keeps_the_order(first: Decimal, second: Decimal, unit: str) -> None:
    ordered = Quantity(f"{first:f}", unit).value < Quantity(f"{second:f}", unit).value
    assert ordered == (first < second)


@given(text=st.text(max_size=45))
def test_any_text_is_read_or_refused_in_words(text: str) -> None:
    refusal, quantity = "", None
    try:
        quantity = Quantity(text, "mm")
    except MetrologyError as error:
        refusal = str(error)
    assert (quantity is None) == refusal.endswith(".")
    assert quantity is None or _places(quantity.value) <= LENGTH.places


def _places(value: Decimal) -> int:
    return -int(value.as_tuple().exponent)
