"""Excursions written down as readings arrive, and acknowledged by people.

Looking again at the same readings changes nothing; readings that come late move what
was found, or put it out of force.
"""

from __future__ import annotations

from datetime import timedelta
from typing import Final

from django.db import transaction

from lab.accounts.models import User
from lab.common import audit
from lab.common.actors import Actor
from lab.common.errors import WrongState
from lab.common.services import service
from lab.common.texts import refuse_placeholder
from lab.environment.models import Excursion, ExcursionNote, NewReadings
from lab.environment.searching import find_in_room, rooms_of

#: So much is looked through in one transaction: seconds of work at a reading a second.
AT_ONCE: Final = timedelta(days=31)


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
    for room in rooms_of(row.sensor, row.first_at, last):
        find_in_room(room=room, start=row.first_at, end=last)
    if last >= row.last_at:
        row.delete()
        return False
    row.first_at = last
    row.save(update_fields=["first_at"])
    return True


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
