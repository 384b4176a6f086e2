"""Excursions written down as readings arrive, and acknowledged by people.

Looking again at the same readings changes nothing; readings that come late move what
was found, or put it out of force.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime, timedelta
from typing import Final

from django.db import transaction
from django.db.models import Max, Min, QuerySet

from lab.accounts.models import User
from lab.common import audit
from lab.common.actors import PROGRAM, Actor
from lab.common.errors import WrongState
from lab.common.services import service
from lab.common.texts import refuse_placeholder
from lab.common.work import enqueue
from lab.environment.finding import (
    Found,
    RoomReadings,
    excursions_in,
    lead_in,
    longest_step,
)
from lab.environment.models import Excursion, ExcursionNote, NewReadings
from lab.environment.selectors.sensors import sensors_in
from lab.equipment.models import Device
from lab.laboratory.models import Room

#: So much is looked through in one transaction: seconds of work at a reading a second.
AT_ONCE: Final = timedelta(days=31)


def find_excursions(sensor_id: int) -> None:
    """Look through all new readings of a sensor, stretch by stretch."""
    while look_through(sensor_id=sensor_id, acting_user=PROGRAM):
        pass


@service
def look_through(*, sensor_id: int, acting_user: Actor) -> bool:
    """Look through the next stretch of a sensor's new readings; tell if more is left.

    What is found is written and the stretch taken away in one transaction.
    """
    audit.nothing_changed()
    rows = NewReadings.objects.select_for_update().select_related("sensor")
    row = rows.filter(sensor=sensor_id).first()
    if row is None:
        return False
    last = min(row.last_at, row.first_at + AT_ONCE)
    for room in _rooms(row.sensor, row.first_at, last):
        find_in_room(room=room, start=row.first_at, end=last)
    if last >= row.last_at:
        row.delete()
        return False
    row.first_at = last
    row.save(update_fields=["first_at"])
    return True


def _rooms(sensor: Device, start: datetime, end: datetime) -> list[Room]:
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


@service(may="environment.record")
def acknowledge_excursion(
    *, excursion: Excursion, note: str, acting_user: User
) -> ExcursionNote:
    """Say that an excursion was seen, and what came of it.

    Raises
    ------
    NotAcceptable
        If the note is a placeholder.
    WrongState
        If it was acknowledged already and has not grown since.
    """
    text = refuse_placeholder(note, "note")
    with transaction.atomic():
        found = Excursion.objects.select_for_update().get(pk=excursion.pk)
        newest = found.notes.order_by("-pk").first()
        if newest is not None and newest.seen_end >= found.end:
            raise WrongState("This excursion is acknowledged already.")
        made = ExcursionNote.objects.create(
            excursion=found, note=text, seen_end=found.end, noted_by=acting_user
        )
    audit.record("excursion.acknowledged", found, actor=acting_user, reason=text)
    return made
