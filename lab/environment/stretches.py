"""The stretch of time that a room's page shows, from an hour to years, by its query."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final

from django.utils import timezone
from django.utils.dateparse import parse_date, parse_datetime
from django.utils.http import urlencode

from lab.common import clock
from lab.common.charts import PeriodLink

OFFERED: Final = (
    ("Last hour", timedelta(hours=1)),
    ("Last 12 hours", timedelta(hours=12)),
    ("Last 3 days", timedelta(days=3)),
    ("Last 30 days", timedelta(days=30)),
    ("Last year", timedelta(days=365)),
    ("Last 10 years", timedelta(days=3653)),
)
SHORTEST: Final = timedelta(minutes=10)
FIRST_YEAR, LAST_YEAR = 1971, 2198
DAY_LENGTH: Final = len("2026-03-17")
FORMAT: Final = "%Y-%m-%dT%H:%M"


@dataclass(frozen=True, slots=True)
class Stretch:
    """From an instant to another, the end not included."""

    start: datetime
    end: datetime

    @property
    def length(self) -> timedelta:
        return self.end - self.start

    @property
    def query(self) -> str:
        return _query(self.start, self.end)

    @property
    def first(self) -> str:
        """Return the start as a field of a form takes it, by the laboratory's clock."""
        return timezone.localtime(self.start).strftime(FORMAT)

    @property
    def last(self) -> str:
        return timezone.localtime(self.end).strftime(FORMAT)

    def links(self) -> list[PeriodLink]:
        """Return links to usual stretches, and to those around and within this one."""
        now = clock.now().replace(second=0, microsecond=0) + timedelta(minutes=1)
        usual = [PeriodLink(label, _query(now - span, now)) for label, span in OFFERED]
        whole, quarter = self.length, self.length / 4
        return [
            *usual,
            PeriodLink("Earlier", _query(self.start - whole, self.start)),
            PeriodLink("Later", _query(self.end, self.end + whole)),
            PeriodLink("Closer", _query(self.start + quarter, self.end - quarter)),
            PeriodLink("Wider", _query(self.start - whole / 2, self.end + whole / 2)),
        ]


def stretch_asked_for(
    query: Mapping[str, str], *, default: timedelta = timedelta(days=3)
) -> Stretch:
    """Return the stretch that a page's query names, or the newest of a usual length.

    What is no time counts as not said; the two are exchanged if they stand reversed.
    """
    now = clock.now().replace(second=0, microsecond=0) + timedelta(minutes=1)
    end = _moment(query.get("to", ""), ends=True) or now
    start = _moment(query.get("from", "")) or end - default
    start, end = min(start, end), max(start, end)
    return Stretch(start, max(end, start + SHORTEST))


def _moment(said: str, *, ends: bool = False) -> datetime | None:
    """Read a local time, or a day: its first instant, or as an end its last."""
    text = said.strip()
    try:
        # A day alone would also be read as its own midnight.
        day = parse_date(text) if len(text) == DAY_LENGTH else None
        found = None if day else parse_datetime(text)
    except ValueError:
        return None
    if day is not None:
        found = datetime.combine(day, datetime.min.time())
        found += timedelta(days=1) if ends else timedelta(0)
    if found is None or not FIRST_YEAR <= found.year <= LAST_YEAR:
        return None
    if timezone.is_naive(found):
        return found.replace(tzinfo=timezone.get_current_timezone())
    return found


def _query(start: datetime, end: datetime) -> str:
    local = (timezone.localtime(start), timezone.localtime(end))
    first, last = (one.strftime(FORMAT) for one in local)
    return urlencode({"from": first, "to": last})
