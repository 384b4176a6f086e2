"""Numbers of jobs and certificates, written as the laboratory wants them."""

from __future__ import annotations

import re
import string
from typing import Final

from django.db import transaction

from lab.common import clock
from lab.common.errors import NotAcceptable
from lab.common.numbering import next_number
from lab.laboratory.models import NumberFormat, Series, Site

#: Series in which no number may be missing; the others may have gaps.
GAP_FREE: Final = frozenset({Series.CERTIFICATE})
#: What a series is written as until the laboratory says otherwise.
DEFAULT_PATTERNS: Final = {
    Series.JOB: "J{year}-{number:04d}",
    Series.CERTIFICATE: "C{year}-{number:04d}",
}
#: A number stands in addresses and file names, so its letters are plain ones.
_PLAIN: Final = re.compile(r"[A-Za-z0-9._-]*")
_NUMBER_FORMAT: Final = re.compile(r"(0[1-9]d)?")


def take_number(series: str, year: int) -> str:
    """Take the next number of a series and year, written by its pattern.

    The number of a certificate is taken inside the transaction that inserts the
    certificate, as its last lock: if it fails, the number is given again. A job's is
    taken at once; a job that fails leaves a gap, unless a transaction is under way.

    Raises
    ------
    RuntimeError
        If a number without gaps is asked for outside a transaction.
    """
    pattern = pattern_of(series)
    if series in GAP_FREE:
        number = next_number(series, year)
    else:
        with transaction.atomic():
            number = next_number(series, year)
    return written(pattern, year, number)


def pattern_of(series: str) -> str:
    """Return the pattern of a series: the laboratory's, or the usual one."""
    chosen = NumberFormat.objects.filter(series=series).values_list(
        "pattern", flat=True
    )
    return chosen.first() or DEFAULT_PATTERNS[Series(series)]


def written(pattern: str, year: int, number: int) -> str:
    """Write a number by a pattern."""
    return pattern.format(year=year, number=number)


def examples() -> list[tuple[Series, str]]:
    """Return each series with the first number of a year, as it would be written."""
    year = clock.now().year
    return [(series, written(pattern_of(series), year, 1)) for series in Series]


def year_at(site: Site) -> int:
    """Return the year of a number taken now at a site: that of the site's own date."""
    return clock.today(site.zone).year


def require_pattern(pattern: str, *, field: str = "pattern") -> str:
    """Return a pattern that gives every number once, or refuse it.

    It holds ``{year}`` once and ``{number}`` once, the latter with leading zeros if
    wanted (``{number:04d}``), between plain letters, digits, points, lines.

    Raises
    ------
    NotAcceptable
        If it is anything else.
    """
    try:
        pieces = list(string.Formatter().parse(pattern))
    except ValueError:
        pieces = [("", "unreadable", "", None)]
    names = [name for _, name, _, _ in pieces if name is not None]
    plain = all(
        _PLAIN.fullmatch(text) and not conversion for text, _, _, conversion in pieces
    )
    shaped = all(
        _NUMBER_FORMAT.fullmatch(shape or "") if name == "number" else not shape
        for _, name, shape, _ in pieces
    )
    if sorted(names) == ["number", "year"] and plain and shaped:
        return pattern
    raise NotAcceptable(
        f"“{pattern}” does not give every number once. Write {{year}} once and "
        "{number} or {number:04d} once, between plain letters, digits, points and "
        "lines, such as AB-{year}-{number:04d}.",
        field=field,
    )


def same_numbers(one: str, other: str) -> bool:
    """Tell whether two patterns could give the same text to different things."""
    return _skeleton(one) == _skeleton(other)


def _skeleton(pattern: str) -> str:
    return re.sub(r"\{number:0[1-9]d\}", "{number}", pattern).casefold()
