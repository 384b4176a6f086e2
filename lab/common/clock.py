"""The one clock. Nothing else in the project asks what time it is.

In a demo and in tests the clock can be set, so that twelve months of history can
be lived through in a minute and a validity can run out while a test looks on.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

from django.conf import settings

from lab.common.errors import NotAcceptable

#: How far ahead of us a clock on somebody's wall may run.
TOLERATED_FUTURE = timedelta(minutes=5)

#: By how much a demo's clock is set back, so that its year does not rot.
_shift: list[timedelta] = [timedelta(0)]
_set_to: ContextVar[datetime | None] = ContextVar("clock_set_to", default=None)


def now() -> datetime:
    """Return the present instant, aware and in UTC."""
    return _set_to.get() or datetime.now(UTC) + _shift[0]


def today(zone: ZoneInfo | str) -> date:
    """Return the calendar date at a place."""
    place = ZoneInfo(zone) if isinstance(zone, str) else zone
    return now().astimezone(place).date()


@contextmanager
def set_to(instant: datetime) -> Iterator[None]:
    """Stand the clock at an instant; for the demo's generator and for tests."""
    if not settings.CLOCK_SETTABLE:
        raise RuntimeError("The clock can be set in a demo and in tests only.")
    if instant.tzinfo is None:
        raise ValueError("The clock needs an aware instant.")
    token = _set_to.set(instant.astimezone(UTC))
    try:
        yield
    finally:
        _set_to.reset(token)


def shift(by: timedelta) -> None:
    """Let this process's clock go apart from the real one; in a demo only."""
    if by and not settings.CLOCK_SETTABLE:
        raise RuntimeError("The clock can be set in a demo and in tests only.")
    _shift[0] = by


def require_not_future(at: datetime, *, field: str = "at") -> None:
    """Refuse an event that is said to happen later than now.

    Raises
    ------
    NotAcceptable
        If ``at`` is more than five minutes ahead.
    """
    if at > now() + TOLERATED_FUTURE:
        raise NotAcceptable(
            f"{at:%Y-%m-%d %H:%M} UTC lies in the future. "
            "Give the time at which it happened.",
            field=field,
        )


def end_of_day(day: date, zone: ZoneInfo | str) -> datetime:
    """Return the local midnight that ends a day: the first instant no longer in it."""
    place = ZoneInfo(zone) if isinstance(zone, str) else zone
    return datetime.combine(day + timedelta(days=1), datetime.min.time(), tzinfo=place)
