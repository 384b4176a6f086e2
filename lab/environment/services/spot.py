"""Every write about the air of the rooms."""

from __future__ import annotations

from datetime import datetime
from decimal import Decimal
from typing import Any

from django.db import IntegrityError, transaction

from lab.accounts.models import User
from lab.common import audit, clock
from lab.common.errors import NotAcceptable, WrongState
from lab.common.services import service
from lab.common.texts import refuse_placeholder
from lab.common.work import enqueue
from lab.environment.models import SpotReading
from lab.equipment.models import Device, DeviceKind
from lab.laboratory.models import Room
from lab.metrology.units import Quantity

#: What the air of a room where people measure can be, with a wide margin: outside of
#: it a digit was lost or the unit is wrong (common practice, no source).
COLDEST_DEGC, WARMEST_DEGC = Decimal(-20), Decimal(60)
MOST_PERCENT = Decimal(100)


@service(may="environment.record")
def record_spot_reading(
    *,
    room: Room,
    sensor: Device,
    at: datetime,
    temperature: Quantity,
    humidity: Quantity | None = None,
    acting_user: User,
) -> SpotReading:
    """Record what a room's sensor showed. The same reading sent twice is kept once.

    Raises
    ------
    NotAcceptable
        If the time lies in the future, the device is no logger, or no air is like that.
    WrongState
        If another reading of that sensor at that instant is recorded.
    """
    _require_sense(sensor, at, temperature, humidity)
    # A second click waits here for the first, and then finds its reading.
    Device.objects.select_for_update().get(pk=sensor.pk)
    earlier = SpotReading.objects.filter(
        sensor=sensor, at=at, superseded_by=None
    ).first()
    if earlier is not None:
        same = (room.pk, temperature, humidity)
        if (earlier.room_id, earlier.temperature, earlier.humidity) == same:
            audit.nothing_changed()
            return earlier
        raise WrongState(
            f"{sensor.tag} was read at that minute already: {earlier.temperature} in "
            f"{earlier.room.name}. Correct that reading if it is wrong."
        )
    made = SpotReading.objects.create(
        room=room,
        sensor=sensor,
        at=at,
        recorded_by=acting_user,
        **_columns(temperature, humidity),
    )
    audit.record("reading.recorded", made, actor=acting_user, after=_described(made))
    return made


@service(may="environment.record")
def correct_spot_reading(
    *,
    reading: SpotReading,
    temperature: Quantity,
    humidity: Quantity | None = None,
    reason: str,
    sensor: Device | None = None,
    at: datetime | None = None,
    acting_user: User,
) -> SpotReading:
    """Correct a reading by a new one that supersedes it; both stay visible.

    Raises
    ------
    NotAcceptable
        See :func:`record_spot_reading`; or if the reason is missing.
    WrongState
        If the reading was corrected already.
    """
    sensor, at = sensor or reading.sensor, at or reading.at
    _require_sense(sensor, at, temperature, humidity)
    try:
        with transaction.atomic():
            made = SpotReading.objects.create(
                room=reading.room,
                sensor=sensor,
                at=at,
                supersedes=reading,
                reason=refuse_placeholder(reason, "reason"),
                recorded_by=acting_user,
                **_columns(temperature, humidity),
            )
    except IntegrityError:
        raise WrongState(
            "This reading was corrected already. Correct the newer one."
        ) from None
    audit.record(
        "reading.corrected",
        made,
        actor=acting_user,
        reason=made.reason,
        before=_described(reading),
        after=_described(made),
    )
    enqueue("lapses.judge_reading", made.pk)
    return made


def _require_sense(
    sensor: Device, at: datetime, temperature: Quantity, humidity: Quantity | None
) -> None:
    clock.require_not_future(at)
    if sensor.kind != DeviceKind.LOGGER:
        raise NotAcceptable(
            f"{sensor.tag} does not measure the air of a room.", field="sensor"
        )
    if not COLDEST_DEGC <= temperature.value <= WARMEST_DEGC:
        raise NotAcceptable(
            f"{temperature} is no air to measure in. Look at the unit and the digits.",
            field="temperature",
        )
    if humidity is not None and humidity.value > MOST_PERCENT:
        raise NotAcceptable(
            f"A relative humidity of {humidity} can't be.", field="humidity"
        )


def _columns(temperature: Quantity, humidity: Quantity | None) -> dict[str, Any]:
    return {
        **SpotReading.temperature.columns(temperature),
        **SpotReading.humidity.columns(humidity),
    }


def _described(reading: SpotReading) -> dict[str, str]:
    return {
        "room": str(reading.room),
        "sensor": reading.sensor.tag,
        "at": reading.at.isoformat(),
        "temperature": str(reading.temperature),
        "humidity": str(reading.humidity or ""),
    }
