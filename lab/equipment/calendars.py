"""Due dates as an iCalendar file (RFC 5545), for whoever has the secret address."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime, timedelta
from typing import Final
from urllib.parse import urlsplit

from django.conf import settings
from django.urls import reverse
from icalendar import Calendar, Event

from lab.accounts.models import User
from lab.accounts.secrets import digest_of
from lab.equipment.due import Due
from lab.equipment.models import CalendarFeed

CONTENT_TYPE: Final = "text/calendar; charset=utf-8"
#: How often a calendar program should ask (RFC 7986): due dates move seldom.
ASK_AGAIN: Final = timedelta(hours=12)


def person_of(token: str) -> User | None:
    """Return whom a secret address belongs to, while that person may see devices.

    A secret has 128 random bits: trying them all is hopeless at any rate, and a count
    kept in the database would have it written to on behalf of strangers.
    """
    rows = CalendarFeed.objects.filter(digest=digest_of(token), revoked_at=None)
    feed = rows.select_related("person").first()
    if feed is None or not feed.person.is_active:
        return None
    return feed.person if feed.person.may("equipment.see") else None


def address_of(token: str) -> str:
    return settings.SITE_URL + reverse("equipment:calendar", args=[token])


def calendar_of(dues: Iterable[Due], *, title: str, now: datetime) -> bytes:
    """Write each due date as an event of its whole day."""
    calendar = Calendar()
    calendar.add("prodid", "-//Unbroken//Due dates//EN")
    calendar.add("version", "2.0")
    calendar.add("method", "PUBLISH")
    calendar.add("x-wr-calname", title)
    calendar.add("refresh-interval", ASK_AGAIN, {"value": "DURATION"})
    for one in dues:
        calendar.add_component(_event(one, now))
    return bytes(calendar.to_ical())


def _event(due: Due, now: datetime) -> Event:
    event = Event()
    host = urlsplit(settings.SITE_URL).hostname or "localhost"
    event.add("uid", f"{due.key}@{host}")
    event.add("dtstamp", now)
    event.add("dtstart", due.on)
    event.add("dtend", due.on + timedelta(days=1))
    event.add("summary", f"{due.device.tag}: {due.what.lower()} due")
    page = reverse("equipment:detail", args=[due.device.tag])
    event.add("description", f"{due.device.name}, serial number {due.device.serial}.")
    event.add("url", settings.SITE_URL + page)
    event.add("transp", "TRANSPARENT")
    return event
