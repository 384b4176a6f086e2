"""Instants as whole microseconds, as readings are kept, and back."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Final

EPOCH: Final = datetime(1970, 1, 1, tzinfo=UTC)
MICROSECOND: Final = timedelta(microseconds=1)


def us_of(instant: datetime) -> int:
    """Return the µs since 1970-01-01 00:00 UTC; exact, unlike a float of seconds."""
    return (instant - EPOCH) // MICROSECOND


def instant_of(us: int) -> datetime:
    return EPOCH + timedelta(microseconds=us)
