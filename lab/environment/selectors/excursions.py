"""Which excursions a room had, with what was said of them."""

from __future__ import annotations

from datetime import datetime

from django.db.models import Prefetch, QuerySet

from lab.environment.models import Excursion, ExcursionNote
from lab.laboratory.models import Room

NEWEST = 8


def excursions_of(room: Room, start: datetime, end: datetime) -> QuerySet[Excursion]:
    """Return a room's excursions that overlap with a stretch, newest first."""
    rows = Excursion.objects.filter(
        room=room, in_force=True, start__lt=end, end__gte=start
    )
    return _shown(rows)


def newest_excursions(room: Room) -> list[Excursion]:
    return list(_shown(Excursion.objects.filter(room=room, in_force=True))[:NEWEST])


def _shown(rows: QuerySet[Excursion]) -> QuerySet[Excursion]:
    notes = ExcursionNote.objects.select_related("noted_by").order_by("pk")
    return (
        rows.select_related("sensor", "room")
        .prefetch_related(Prefetch("notes", notes, to_attr="said"))
        .order_by("-start", "-pk")
    )
