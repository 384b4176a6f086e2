"""Where the sensors stand."""

from __future__ import annotations

from datetime import datetime

from lab.common import audit, clock
from lab.common.actors import Actor
from lab.common.errors import NotAcceptable
from lab.common.services import service
from lab.environment.models import SensorPlacement
from lab.environment.noting import note_placement
from lab.environment.sensors import SENSORS
from lab.equipment.models import Device
from lab.laboratory.models import Room


@service(may="environment.record")
def place_sensor(
    *,
    sensor: Device,
    room: Room | None,
    since: datetime,
    position: str = "",
    acting_user: Actor,
) -> SensorPlacement:
    """Record that a sensor stands in a room from an instant on, or was taken out.

    Raises
    ------
    NotAcceptable
        If the device is no sensor or the instant lies in the future.
    """
    clock.require_not_future(since, field="since")
    if sensor.kind not in SENSORS:
        raise NotAcceptable(
            f"{sensor.tag} is no logger and no thermometer.", field="sensor"
        )
    Device.objects.select_for_update(no_key=True).get(pk=sensor.pk)
    rows = SensorPlacement.objects.filter(sensor=sensor)
    before = rows.filter(since__lte=since).order_by("-since", "-pk").first()
    position = position.strip()
    room_pk = room.pk if room else None
    if before and (before.room_id, before.position) == (room_pk, position):
        audit.nothing_changed()
        return before
    made = SensorPlacement.objects.create(
        sensor=sensor,
        room=room,
        since=since,
        position=position,
        recorded_by_id=acting_user.pk,
    )
    audit.record(
        "sensor.placed",
        sensor,
        actor=acting_user,
        before={"place": str(before)} if before else {},
        after={"place": str(made), "position": position, "since": since},
    )
    note_placement(sensor, since)
    return made
