"""The stretch of time that a page shows: ``?from=2026-03-01&to=2026-04-01``."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from typing import Final

from django.utils import timezone
from django.utils.dateparse import parse_date
from django.utils.http import urlencode

from lab.common import clock

#: What a page offers to look at, counted back from today.
OFFERED: Final = (("30 days", 30), ("90 days", 90), ("1 year", 365), ("3 years", 1096))
FEWEST, MOST = date(1970, 1, 1), date(2199, 12, 31)


@dataclass(frozen=True, slots=True)
class PeriodLink:
    """A link to another period, and whether it is the one that is shown."""

    label: str
    query: str
    is_shown: bool = False


@dataclass(frozen=True, slots=True)
class Period:
    """Whole days of the laboratory's calendar, the first and the last included."""

    first: date
    last: date

    @property
    def start(self) -> datetime:
        return _midnight(self.first)

    @property
    def end(self) -> datetime:
        """Return the instant at which the last day is over."""
        return _midnight(self.last + timedelta(days=1))

    @property
    def days(self) -> int:
        return (self.last - self.first).days + 1

    @property
    def query(self) -> str:
        return _query(self.first, self.last)

    @property
    def words(self) -> str:
        return f"{self.first:%Y-%m-%d} to {self.last:%Y-%m-%d}"

    def links(self) -> list[PeriodLink]:
        """Return links to usual periods, to half and twice this one, and its sides."""
        today = clock.today(timezone.get_current_timezone())
        usual = [
            PeriodLink(
                f"Last {label}",
                _query(today - timedelta(days=days - 1), today),
                (self.last, self.days) == (today, days),
            )
            for label, days in OFFERED
        ]
        return [*usual, *self._zoomed()]

    def _zoomed(self) -> list[PeriodLink]:
        whole, half = timedelta(days=self.days), timedelta(days=self.days // 4)
        links = [PeriodLink("Earlier", self._moved(-whole))]
        links.append(PeriodLink("Later", self._moved(whole)))
        if self.days >= 4:
            closer = _query(self.first + half, self.last - half)
            links.append(PeriodLink("Closer", closer))
        wider = timedelta(days=max(1, self.days // 2))
        links.append(PeriodLink("Wider", _query(self.first - wider, self.last + wider)))
        return links

    def _moved(self, by: timedelta) -> str:
        return _query(self.first + by, self.last + by)


def period_asked_for(query: Mapping[str, str], *, days: int = 90) -> Period:
    """Return the period that a page's query names, or the last so many days.

    What is no date counts as not said; the two are exchanged if they stand reversed.
    """
    today = clock.today(timezone.get_current_timezone())
    last = _day(query.get("to", "")) or today
    first = _day(query.get("from", "")) or last - timedelta(days=days - 1)
    return Period(min(first, last), max(first, last))


def _day(said: str) -> date | None:
    try:
        found = parse_date(said.strip())
    except ValueError:
        return None
    return found if found and FEWEST <= found <= MOST else None


def _query(first: date, last: date) -> str:
    return urlencode({"from": first.isoformat(), "to": last.isoformat()})


def _midnight(day: date) -> datetime:
    return datetime.combine(day, time.min, tzinfo=timezone.get_current_timezone())
