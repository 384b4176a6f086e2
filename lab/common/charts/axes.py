"""Where the ticks of an axis stand, and what they say."""

from __future__ import annotations

import itertools
import math
from datetime import datetime, timedelta
from typing import Final
from zoneinfo import ZoneInfo

from django.utils import timezone

#: A tick's step is one of these times a power of ten.
ROUND: Final = (1.0, 2.0, 5.0, 10.0)
HOURS: Final = (1, 2, 3, 6, 12)
DAYS: Final = (1, 2, 7, 14)
MONTHS: Final = (1, 2, 3, 6, 12, 24, 60, 120)
MINUS: Final = "\N{MINUS SIGN}"


def value_ticks(lowest: float, highest: float, count: int = 5) -> list[float]:
    """Return round values within a range, about so many.

    Examples
    --------
    >>> value_ticks(-12.0, 31.0)
    [-10.0, 0.0, 10.0, 20.0, 30.0]
    """
    span = highest - lowest
    if not span > 0.0:
        return [lowest]
    rough = span / count
    power = 10.0 ** math.floor(math.log10(rough))
    step = next(one * power for one in ROUND if one * power >= rough * 0.999)
    first, last = math.ceil(lowest / step - 1e-9), math.floor(highest / step + 1e-9)
    return [number * step for number in range(first, last + 1)]


def tick_words(ticks: list[float]) -> list[str]:
    """Say ticks with as many decimals as tell them apart.

    Examples
    --------
    >>> tick_words([-0.5, 0.0, 0.5])
    ['−0.5', '0.0', '0.5']
    """
    steps = [b - a for a, b in itertools.pairwise(ticks)]
    smallest = min(steps, default=abs(ticks[0]) if ticks else 1.0) or 1.0
    places = max(0, -math.floor(math.log10(smallest) + 1e-9))
    return [f"{tick:.{places}f}".replace("-", MINUS) for tick in ticks]


def time_ticks(start: datetime, end: datetime, count: int = 6) -> list[datetime]:
    """Return round instants of the laboratory's clock within a stretch, few enough."""
    zone = timezone.get_current_timezone()
    first, last = start.astimezone(zone), end.astimezone(zone)
    span = last - first
    for hours in HOURS:
        if span <= timedelta(hours=hours * count):
            return _every_hours(first, last, hours)
    for days in DAYS:
        if span <= timedelta(days=days * count):
            return _every_days(first, last, days)
    months = next((m for m in MONTHS if span.days <= 30.5 * m * count), MONTHS[-1])
    return _every_months(first, last, months)


def time_words(ticks: list[datetime]) -> list[str]:
    """Say instants as dates, or as times of day where several share one."""
    local = [tick.astimezone(timezone.get_current_timezone()) for tick in ticks]
    if all((tick.hour, tick.minute) == (0, 0) for tick in local):
        return [f"{tick:%Y-%m-%d}" for tick in local]
    return [f"{tick:%m-%d %H:%M}" for tick in local]


def _every_hours(first: datetime, last: datetime, hours: int) -> list[datetime]:
    tick = first.replace(minute=0, second=0, microsecond=0)
    tick -= timedelta(hours=tick.hour % hours)
    found = []
    while tick <= last:
        if tick >= first:
            found.append(tick)
        tick += timedelta(hours=hours)
    return found


def _every_days(first: datetime, last: datetime, days: int) -> list[datetime]:
    # Counted from a Monday, so that weeks begin with one.
    day = first.date() - timedelta(days=first.date().toordinal() % days - 1)
    day -= timedelta(days=days)
    found = []
    while day <= last.date():
        tick = _midnight(day.year, day.month, day.day, first)
        if first <= tick <= last:
            found.append(tick)
        day += timedelta(days=days)
    return found


def _every_months(first: datetime, last: datetime, months: int) -> list[datetime]:
    number = (first.year * 12 + first.month - 1) // months * months
    found = []
    while number // 12 <= last.year:
        tick = _midnight(number // 12, number % 12 + 1, 1, first)
        if first <= tick <= last:
            found.append(tick)
        number += months
    return found


def _midnight(year: int, month: int, day: int, like: datetime) -> datetime:
    zone = like.tzinfo
    assert isinstance(zone, ZoneInfo)  # noqa: S101 - for the type checker
    return datetime(year, month, day, tzinfo=zone)
