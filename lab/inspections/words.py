"""What the drawing asks of a characteristic, as it is written beside a result."""

from __future__ import annotations

from lab.metrology.units import Quantity
from lab.parts.models import Characteristic


def nominal_text(one: Characteristic) -> str:
    """Write the nominal value; what can't be below zero has none but 0."""
    return "" if one.non_negative else str(one.nominal)


def deviations_text(one: Characteristic) -> str:
    """Write the one or two deviations as typed, each with its sign."""
    both = (one.lower_deviation, one.upper_deviation)
    return " / ".join(signed_text(each) for each in both if each is not None)


def signed_text(deviation: Quantity) -> str:
    """Write a deviation as it was typed, with its sign.

    >>> signed_text(Quantity("-0.1", "mm")), signed_text(Quantity("0.20", "mm"))
    ('−0.1 mm', '+0.20 mm')
    """
    plain = str(deviation).lstrip("+").replace("-", "\N{MINUS SIGN}")
    return f"+{plain}" if deviation.value > 0 else plain
