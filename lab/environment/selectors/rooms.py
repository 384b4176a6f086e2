"""What the air of a room was like over a window, and what it is like now."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal

from django.db.models import OuterRef, QuerySet, Subquery

from lab.common import clock
from lab.environment.models import SpotReading
from lab.equipment.models import Device
from lab.laboratory.models import Room
from lab.metrology.units import Quantity

#: How old a reading may be that still says what a room is like (common practice, no
#: source).
FRESH = timedelta(hours=1)


@dataclass(frozen=True, slots=True)
class Conditions:
    """The air of a room in a window, as the readings in force tell of it.

    Lowest and highest are as typed. Humidity is None if no reading has it.
    """

    temperature_lowest: Quantity
    temperature_highest: Quantity
    humidity_lowest: Quantity | None
    humidity_highest: Quantity | None
    count: int
    first_at: datetime
    last_at: datetime
    sensors: tuple[Device, ...]


def readings_in_force(room: Room) -> QuerySet[SpotReading]:
    """Return a room's readings that no correction supersedes, newest first."""
    rows = SpotReading.objects.filter(room=room, superseded_by=None)
    return rows.select_related("sensor", "recorded_by").order_by("-at", "-pk")


def conditions(room: Room, start: datetime, end: datetime) -> Conditions | None:
    """Return what the air was like from an instant to another, both included."""
    readings = list(readings_in_force(room).filter(at__gte=start, at__lte=end))
    if not readings:
        return None
    temperatures = [one.temperature for one in readings]
    humidities = [one.humidity for one in readings if one.humidity is not None]
    sensors = {one.sensor_id: one.sensor for one in readings}
    return Conditions(
        temperature_lowest=min(temperatures, key=_value),
        temperature_highest=max(temperatures, key=_value),
        humidity_lowest=min(humidities, key=_value, default=None),
        humidity_highest=max(humidities, key=_value, default=None),
        count=len(readings),
        first_at=readings[-1].at,
        last_at=readings[0].at,
        sensors=tuple(sorted(sensors.values(), key=lambda sensor: sensor.tag)),
    )


def history_of(room: Room) -> QuerySet[SpotReading]:
    """Return every reading of a room, corrected ones among them."""
    rows = SpotReading.objects.filter(room=room)
    return rows.select_related("sensor", "recorded_by", "superseded_by")


# --- Now ------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class RoomNow:
    """A room with its newest reading, how old that is, and whether it is inside."""

    room: Room
    reading: SpotReading | None
    at: datetime

    @property
    def is_stale(self) -> bool:
        return self.reading is not None and self.at - self.reading.at > FRESH

    @property
    def is_inside(self) -> bool:
        """Tell whether temperature and humidity were inside the room's limits."""
        if self.reading is None:
            return False
        room, air = self.room, self.reading
        return _inside(
            air.temperature, room.temperature_lowest, room.temperature_highest
        ) and _inside(air.humidity, room.humidity_lowest, room.humidity_highest)

    @property
    def word(self) -> str:
        if self.reading is None:
            return "Never read"
        if not self.is_inside:
            return (
                "Outside its limits, stale" if self.is_stale else "Outside its limits"
            )
        return "Stale" if self.is_stale else "Inside its limits"

    @property
    def shape(self) -> str:
        """Return the class of the state sign that goes with the word."""
        if self.reading is None:
            return "state-off"
        if not self.is_inside:
            return "state-bad"
        return "state-wait" if self.is_stale else "state-good"

    @property
    def age(self) -> str:
        return "" if self.reading is None else f"{_span(self.at - self.reading.at)} ago"


def rooms_now(rooms: QuerySet[Room], at: datetime) -> list[RoomNow]:
    """Return how rooms are by their newest readings, in two queries."""
    newest = SpotReading.objects.filter(
        room=OuterRef("pk"), superseded_by=None, at__lte=at + clock.TOLERATED_FUTURE
    ).order_by("-at", "-pk")
    annotated = list(rooms.annotate(newest=Subquery(newest.values("pk")[:1])))
    keys = [room.newest for room in annotated if room.newest is not None]
    readings = SpotReading.objects.select_related("sensor").in_bulk(keys)
    return [RoomNow(room, readings.get(room.newest or 0), at) for room in annotated]


def _inside(
    value: Quantity | None, lowest: Quantity | None, highest: Quantity | None
) -> bool:
    """Tell whether a value keeps its limits; what isn't known breaks none."""
    if value is None:
        return True
    above = lowest is None or value.value >= lowest.value
    return above and (highest is None or value.value <= highest.value)


def _span(span: timedelta) -> str:
    """Say a span in its largest whole unit."""
    minutes = max(0, int(span.total_seconds() // 60))
    if minutes < 60:
        return f"{minutes} min"
    if minutes < 48 * 60:
        return f"{minutes // 60} h"
    return f"{minutes // (24 * 60)} days"


def _value(quantity: Quantity) -> Decimal:
    return quantity.value
