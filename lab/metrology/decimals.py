"""Exact numbers for typed values, limits and their comparison.

A value typed exactly at nominal plus tolerance must be accepted, and binary
floating point refuses it in about one case of nine. So everything that a person
typed, and every limit that follows from it, is compared as ``decimal.Decimal``.
A computed ``float`` enters through :func:`exact`, which takes its shortest decimal
text and drops what lies below a picometre (1e-9 of the unit): that is arithmetic
noise of 64-bit floats, not measurement.
"""

from __future__ import annotations

import numbers
from decimal import ROUND_HALF_EVEN, Context, Decimal

from lab.metrology.errors import NotFinite, OutOfDomain

__all__ = ["PRECISE", "exact", "exact_positive"]

#: Enough digits that no sum or quotient of lengths is rounded in a visible place.
PRECISE = Context(prec=50, rounding=ROUND_HALF_EVEN)

_NOISE = Decimal("1e-9")


def exact(name: str, value: Decimal | float) -> Decimal:
    """Turn a number into the decimal that a person would write for it.

    Parameters
    ----------
    name : str
        What the number is, for the message of a refusal.
    value : Decimal or float
        A ``Decimal`` or ``int`` is kept as it is. A ``float`` is read by its
        shortest decimal text, to the ninth decimal.

    Returns
    -------
    Decimal

    Raises
    ------
    NotFinite
        If the value is NaN or infinite.
    OutOfDomain
        If it is no number.

    Examples
    --------
    >>> exact("value", 10.1)
    Decimal('10.1')
    >>> exact("value", 0.1 + 0.2)
    Decimal('0.3')
    """
    if isinstance(value, bool) or not isinstance(value, Decimal | numbers.Real):
        msg = f"{name} must be a number, got {value!r}."
        raise OutOfDomain(msg)
    if isinstance(value, Decimal):
        number = value
    elif isinstance(value, numbers.Integral):
        number = Decimal(int(value))
    else:
        number = Decimal(repr(float(value)))
        if number.is_finite():
            number = _without_noise(number)
    if not number.is_finite():
        msg = f"{name} must be finite, got {value}."
        raise NotFinite(msg)
    return number


def exact_positive(name: str, value: Decimal | float) -> Decimal:
    """Turn a number into a decimal as :func:`exact` does, and refuse it unless > 0.

    A float keeps all its digits here: an uncertainty may be tiny.

    Examples
    --------
    >>> exact_positive("expanded_u", 0.012)
    Decimal('0.012')
    """
    number = exact(name, value)
    if isinstance(value, float):
        number = Decimal(repr(float(value)))
    if number <= 0:
        msg = f"{name} must be greater than zero, got {value}."
        raise OutOfDomain(msg)
    return number


def _without_noise(number: Decimal) -> Decimal:
    exponent = number.as_tuple().exponent
    if not isinstance(exponent, int) or exponent >= -9:
        return number
    return PRECISE.normalize(number.quantize(_NOISE, context=PRECISE))
