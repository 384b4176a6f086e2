"""Written times of a logger as instants; what a clock change makes unclear is told.

A logger on summer time shows one hour twice in autumn and leaves one out in spring.
Which of the two hours a reading belongs to can't be known, and none is guessed: such
times are marked, and their readings stay out until somebody says what the logger's
clock really did (often it kept one offset all year).
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta, timezone, tzinfo
from functools import lru_cache
from typing import Final
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

import numpy as np
from numpy.typing import NDArray

from lab.metrology.environment.packing import HOUR_US
from lab.metrology.errors import OutOfDomain

_Times = NDArray[np.int64]
_EPOCH: Final = datetime(1970, 1, 1)  # noqa: DTZ001 - a wall clock has no zone
_MICROSECOND: Final = timedelta(microseconds=1)
_OFFSET: Final = re.compile(r"([+-])(\d\d):(\d\d)", re.ASCII)
_DATED: Final = re.compile(
    r"(\d{1,4})[./-](\d{1,2})[./-](\d{1,4})[T ,]*"
    r"(?:(\d{1,2})[:.](\d{2})(?:[:.](\d{2})(?:[.,](\d{1,6}))?)?\s*([AaPp])?\.?[Mm]?\.?)?",
    re.ASCII,
)
_ISO_PLAIN: Final = re.compile(
    r"\d{4}-\d\d-\d\d[T ]\d\d:\d\d(?::\d\d(?:\.\d{1,6})?)?", re.ASCII
)
#: Where an ISO time has something else than a digit.
_SIGNS: Final = {4: "-", 7: "-", 10: "T ", 13: ":", 16: ":", 19: "."}
_ISO_LENGTHS: Final = frozenset({16, 19, *range(21, 27)})
OFFSET_END: Final = re.compile(r"(?:Z|[+-]\d\d:?\d\d)$", re.ASCII)
AMBIGUOUS, SKIPPED = 1, 2


@dataclass(frozen=True, slots=True, eq=False)
class Placed:
    """Wall-clock times as instants; `fault` is 0, AMBIGUOUS or SKIPPED for each."""

    times_us: _Times
    fault: NDArray[np.int8]


def zone_named(name: str) -> tzinfo:
    """Return a zone by its IANA name or as a fixed offset such as ``+01:00``.

    Raises
    ------
    OutOfDomain
        If there is no such zone.
    """
    fixed = _OFFSET.fullmatch(name)
    if fixed:
        sign = -1 if fixed[1] == "-" else 1
        return timezone(sign * timedelta(hours=int(fixed[2]), minutes=int(fixed[3])))
    try:
        return ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError):
        raise OutOfDomain(
            f"There is no time zone {name!r}; write Europe/London, UTC or +01:00."
        ) from None


def wall_us(text: str, form: str) -> int:
    """Return a written time without offset in µs of its wall clock.

    Raises
    ------
    ValueError
        If it is no time of that form.
    """
    text = text.strip()
    if form == "iso":
        if not _ISO_PLAIN.fullmatch(text):
            raise ValueError(text)
        return (datetime.fromisoformat(text) - _EPOCH) // _MICROSECOND
    found = _DATED.fullmatch(text)
    if found is None:
        raise ValueError(text)
    first, second, third = (int(found[place]) for place in (1, 2, 3))
    order = {"dmy": (third, second, first), "mdy": (third, first, second)}
    year, month, day = order.get(form, (first, second, third))
    hour, minute, second_of = (int(found[place] or 0) for place in (4, 5, 6))
    if found[8]:
        if not 1 <= hour <= 12:
            raise ValueError(text)
        hour = hour % 12 + (12 if found[8] in "Pp" else 0)
    micro = int((found[7] or "").ljust(6, "0"))
    year += 2000 if year < 100 else 0
    when = datetime(year, month, day, hour, minute, second_of, micro)  # noqa: DTZ001
    return (when - _EPOCH) // _MICROSECOND


def stated_us(text: str, form: str) -> int:
    """Return a written time that needs no zone: with its offset, or counted."""
    text = text.strip()
    if form.startswith("epoch"):
        if not re.fullmatch(r"-?\d{1,16}(?:\.\d{1,6})?", text, re.ASCII):
            raise ValueError(text)
        whole, _, part = text.partition(".")
        scale = 1_000_000 if form == "epoch_s" else 1000
        sign = -1 if text.startswith("-") else 1
        return int(whole) * scale + sign * int(part.ljust(6, "0")) * scale // 10**6
    when = datetime.fromisoformat(text)
    if when.tzinfo is None:
        raise ValueError(text)
    return (when - datetime(1970, 1, 1, tzinfo=UTC)) // _MICROSECOND


def many_wall_us(texts: list[str]) -> _Times | None:
    """Read many plain ISO times at once; None if any of them isn't one.

    All must have one length, and each sign must stand where it belongs: only then
    does the fast reading take a text for what it is.
    """
    lengths = set(map(len, texts))
    if len(lengths) != 1 or not lengths <= _ISO_LENGTHS:
        return None
    table = np.array(texts)
    signs = table.view(np.uint32).reshape(len(texts), -1)
    is_digit = (signs >= ord("0")) & (signs <= ord("9"))
    places = range(signs.shape[1])
    plain = [place for place in places if place not in _SIGNS]
    if not is_digit[:, plain].all():
        return None
    for place in set(places) & set(_SIGNS):
        if not np.isin(signs[:, place], [ord(sign) for sign in _SIGNS[place]]).all():
            return None
    try:
        return table.astype("datetime64[us]").astype(np.int64)
    except ValueError:
        return None


def placed(wall: _Times, zone: tzinfo) -> Placed:
    """Return the instants of wall-clock times in a zone.

    Hours without a change of the clock, nearly all, are moved as one; in the others
    each time is looked at by itself.
    """
    hours, place = np.unique(wall // HOUR_US, return_inverse=True)
    offsets = [_steady_offset(int(hour), zone) for hour in hours.tolist()]
    steady = np.array([one is not None for one in offsets], np.bool_)
    moved = np.array([one or 0 for one in offsets], np.int64)
    times = wall - moved[place]
    fault = np.zeros(len(wall), np.int8)
    for index in np.flatnonzero(~steady[place]).tolist():
        times[index], fault[index] = _placed_alone(int(wall[index]), zone)
    return Placed(times, fault)


@lru_cache(maxsize=100_000)
def _steady_offset(hour: int, zone: tzinfo) -> int | None:
    """Return the offset of a wall-clock hour in µs, or None if it changes in it."""
    start = _EPOCH + timedelta(hours=hour)
    ends = (start, start + timedelta(hours=1) - _MICROSECOND)
    found = {
        offset
        for end in ends
        for offset in (_offset(end, zone, 0), _offset(end, zone, 1))
    }
    return found.pop() if len(found) == 1 else None


def _placed_alone(wall: int, zone: tzinfo) -> tuple[int, int]:
    when = _EPOCH + timedelta(microseconds=wall)
    first, second = _offset(when, zone, 0), _offset(when, zone, 1)
    if first == second:
        return wall - first, 0
    return wall - first, AMBIGUOUS if first > second else SKIPPED


def _offset(when: datetime, zone: tzinfo, fold: int) -> int:
    offset = when.replace(tzinfo=zone, fold=fold).utcoffset()
    return (offset or timedelta(0)) // _MICROSECOND
