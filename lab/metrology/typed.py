"""Numbers as people type them, read so that a record has one meaning.

A decimal comma and a decimal point are both read. A separator of thousands is
refused, and so is a text that could hide one: ``12,345`` is twelve and a bit to one
reader and twelve thousand to another.
"""

from __future__ import annotations

import re
from decimal import Decimal
from typing import Literal

from lab.metrology.errors import MetrologyError, NotFinite

__all__ = ["AmbiguousNumber", "NotANumber", "parse_decimal"]

MAX_TEXT = 40
_NUMBER = re.compile(
    r"[+-]?(?:[0-9]+(?:[.,][0-9]+)?|[.,][0-9]+)(?:[eE][+-]?[0-9]{1,2})?"
)
_GROUPED = re.compile(
    r"[+-]?[0-9]{1,3}(?:[ .,'’_\u00a0\u2009\u202f][0-9]{3})+(?:[.,][0-9]+)?"
)
#: One to three digits, not a lone zero, a separator and just three digits.
_HIDDEN_THOUSANDS = re.compile(r"[+-]?[1-9][0-9]{0,2},[0-9]{3}")
_WITH_UNIT = re.compile(r"[+-]?[0-9.,]*[0-9]\s*(?:[^\W\d_eExX]|[°%\"])")
_NOT_FINITE = re.compile(r"[+-]?(?:s?nan[0-9]*|inf(?:inity)?|∞)", re.IGNORECASE)


class NotANumber(MetrologyError):
    """A typed text is no number that can be read."""


class AmbiguousNumber(MetrologyError):
    """A typed text could be read as two different numbers."""


def parse_decimal(
    text: str, *, decimal_separator: Literal[".", ","] | None = None
) -> Decimal:
    """Read a typed number.

    Parameters
    ----------
    text : str
        The number as typed. Outer white space goes; a typographic minus sign is read.
    decimal_separator : {".", ","}, optional
        What a file's format is known to use; the other sign is then refused, and
        nothing is ambiguous. By default both are read, and ``12,345`` is refused.

    Returns
    -------
    Decimal
        With the digits that were typed.

    Raises
    ------
    NotANumber
        If it is empty, too long, or no number.
    AmbiguousNumber
        If it has, or may have, a separator of thousands.
    NotFinite
        If it says NaN or infinity.

    Examples
    --------
    >>> parse_decimal("12,50")
    Decimal('12.50')
    >>> parse_decimal("12,345", decimal_separator=",")
    Decimal('12.345')
    """
    typed = text.strip().replace("\N{MINUS SIGN}", "-")
    if not typed:
        msg = "There is no number; type one, such as 12.5."
        raise NotANumber(msg)
    if len(typed) > MAX_TEXT:
        msg = f"A number of {len(typed)} characters is too long; {MAX_TEXT} are enough."
        raise NotANumber(msg)
    _refuse_other_meanings(typed, decimal_separator)
    return Decimal(typed.replace(",", "."))


def _refuse_other_meanings(typed: str, separator: str | None) -> None:
    if _NOT_FINITE.fullmatch(typed):
        msg = f"{typed} is not a finite number; leave the field empty or type a number."
        raise NotFinite(msg)
    if separator is None and _HIDDEN_THOUSANDS.fullmatch(typed):
        whole, _, rest = typed.partition(",")
        msg = f"{typed} could mean {whole}.{rest} or {whole}{rest}; write one of these."
        raise AmbiguousNumber(msg)
    other = {".": ",", ",": "."}.get(separator or "", "\0")
    if _NUMBER.fullmatch(typed) and other not in typed:
        return
    if _GROUPED.fullmatch(typed):
        msg = (
            f"{typed} has a separator of thousands; write the number without it, "
            "such as 1234.5."
        )
        raise AmbiguousNumber(msg)
    if _WITH_UNIT.match(typed):
        msg = f"{typed}: write the number alone, and choose its unit beside it."
        raise NotANumber(msg)
    msg = (
        f"{typed} is not a number; write it with digits only, such as 12.5 or 1.15e-5."
    )
    raise NotANumber(msg)
