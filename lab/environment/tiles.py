"""The tile of a room: how it is now, by its loggers or else as read by hand."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from django.db.models import QuerySet

from lab.environment.air import RoomAir, room_air
from lab.environment.models import SensorPlacement
from lab.environment.selectors import RoomNow, rooms_now
from lab.laboratory.models import Room


@dataclass(frozen=True, slots=True)
class Tile:
    """A room now: ``air`` is None where no logger stands, ``read`` is by hand."""

    room: Room
    air: RoomAir | None
    now: RoomNow

    @property
    def outside(self) -> list[str]:
        """Return what is outside the limits, in phrases; nothing of stale readings."""
        if self.air is None or self.air.is_stale:
            return []
        return self.air.outside(self.room)


def tiles_of(rooms: QuerySet[Room], at: datetime) -> list[Tile]:
    """Return the tiles of some rooms at an instant."""
    placed = SensorPlacement.objects.filter(room__in=rooms, since__lte=at)
    with_loggers = set(placed.values_list("room", flat=True))
    return [
        Tile(
            now.room,
            room_air(now.room, at) if now.room.pk in with_loggers else None,
            now,
        )
        for now in rooms_now(rooms, at)
    ]
