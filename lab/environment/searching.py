"""Bringing a room's excursions up to date, inside a caller's transaction."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime, timedelta

from django.db.models import Max, Min, QuerySet

from lab.common.work import enqueue
from lab.environment.finding import (
    Found,
    RoomReadings,
    excursions_in,
    lead_in,
    longest_step,
)
from lab.environment.models import Excursion
from lab.environment.selectors.sensors import sensors_in
from lab.equipment.models import Device
from lab.laboratory.models import Room


def rooms_of(sensor: Device, start: datetime, end: datetime) -> list[Room]:
    """Return the rooms in which a sensor stood during a stretch."""
    keys = sensor.placements.filter(since__lte=end).values("room")
    found = []
    for room in Room.objects.filter(pk__in=keys).order_by("pk"):
        stays = sensors_in(room, start, end + timedelta(microseconds=1))
        if any(stay.sensor == sensor for stay in stays):
            found.append(room)
    return found


def find_in_room(*, room: Room, start: datetime, end: datetime) -> list[Excursion]:
    """Bring a room's excursions of a stretch up to date; return what changed.

    The caller's transaction holds it; the room's row is locked.
    """
    room = Room.objects.select_for_update().get(pk=room.pk)
    step, lead = longest_step(room), lead_in(room)
    there = Excursion.objects.filter(room=room, in_force=True)
    start, end = _widened(there, start - step, end + lead)
    given = RoomReadings.of(room, start - lead, end + step)
    found = [
        one
        for one in excursions_in(given, room)
        if one.end >= start and one.start <= end
    ]
    known = list(there.filter(start__lte=end, end__gte=start))
    changed = _reconcile(room, known, found)
    for one in changed:
        enqueue("lapses.judge_excursion", one.pk)
    return changed


def _widened(
    there: QuerySet[Excursion], start: datetime, end: datetime
) -> tuple[datetime, datetime]:
    """Widen a stretch until what is known lies within it or outside, whole."""
    while True:
        known = there.filter(start__lte=end, end__gte=start)
        reach = known.aggregate(first=Min("start"), last=Max("end"))
        wider = (min(start, reach["first"] or start), max(end, reach["last"] or end))
        if wider == (start, end):
            return wider
        start, end = wider


def _reconcile(
    room: Room, known: list[Excursion], found: Iterable[Found]
) -> list[Excursion]:
    """Match what was found with what is known; write the difference."""
    left = {one.pk: one for one in known}
    changed = []
    for one in found:
        match = next((old for old in left.values() if _is_same(old, one)), None)
        columns = {
            "side": one.side,
            "start": one.start,
            "end": one.end,
            "is_open": one.runs_on,
            "worst": one.worst,
            "worst_at": one.worst_at,
            "limit": one.limit,
        }
        if match is None:
            changed.append(
                Excursion.objects.create(
                    room=room, sensor=one.sensor, kind=one.kind, **columns
                )
            )
            continue
        del left[match.pk]
        if any(getattr(match, name) != value for name, value in columns.items()):
            for name, value in columns.items():
                setattr(match, name, value)
            match.save(update_fields=list(columns))
            changed.append(match)
    for gone in left.values():
        gone.in_force, gone.is_open = False, False
        gone.save(update_fields=["in_force", "is_open"])
    return changed


def _is_same(old: Excursion, new: Found) -> bool:
    same = (old.sensor_id, old.kind) == new.channel and old.side == new.side
    return same and old.start <= new.end and old.end >= new.start
