"""A laboratory with two rooms and a logger in the first."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from lab.common import clock
from lab.common.actors import PROGRAM
from lab.environment.models import SpotReading
from lab.environment.services import record_spot_reading
from lab.equipment.models import Device
from lab.equipment.services import add_device
from lab.laboratory.climate import Limits
from lab.laboratory.models import Room
from lab.laboratory.services import Identity, add_room, add_site, set_up_laboratory
from lab.metrology.units import Quantity

ADDRESS = "3 Sluice Road\nPort Ennis PE4 2SD"


def at(hour: int, minute: int = 0, *, days: int = 0) -> datetime:
    moment = datetime(2026, 3, 17, hour, minute, tzinfo=UTC)
    return moment + timedelta(days=days)


@pytest.fixture
def rooms(db: None) -> dict[str, Room]:
    """Two rooms, both from 18 °C to 22 °C and up to 60 % humidity."""
    set_up_laboratory(
        identity=Identity(
            name="Saltmarsh Dimensional",
            address=ADDRESS,
            email="desk@saltmarsh.example",
            phone="+44 1632 960140",
            time_zone="Europe/London",
        ),
        acting_user=PROGRAM,
    )
    site = add_site(
        name="Sluice Road",
        address=ADDRESS,
        time_zone="Europe/London",
        acting_user=PROGRAM,
    )
    limits = Limits(
        temperature_lowest=Quantity("18", "°C"),
        temperature_highest=Quantity("22", "°C"),
        humidity_highest=Quantity("60", "%"),
    )
    return {
        name: add_room(site=site, name=name, limits=limits, acting_user=PROGRAM)
        for name in ("Long Room", "Net Loft")
    }


@pytest.fixture
def long_room(rooms: dict[str, Room]) -> Room:
    return rooms["Long Room"]


@pytest.fixture
def logger(people: Any, long_room: Room) -> Device:
    return make_device(people, "LG-1", room=long_room)


def make_device(people: Any, tag: str, kind: str = "logger", **more: Any) -> Device:
    return add_device(
        tag=tag,
        kind=kind,
        name=kind.title(),
        serial=f"{tag}-0001",
        acting_user=people.technician,
        **more,
    )


@pytest.fixture
def read(people: Any, long_room: Room, logger: Device) -> Any:
    """Return a function that records 20.1 °C and 46 % at nine, or what is said."""

    def record(when: datetime | None = None, **changes: Any) -> SpotReading:
        moment = when or at(9)
        with clock.set_to(moment):
            return record_spot_reading(
                **{
                    "room": long_room,
                    "sensor": logger,
                    "at": moment,
                    "temperature": Quantity("20.1", "°C"),
                    "humidity": Quantity("46", "%"),
                    "acting_user": people.technician,
                }
                | changes
            )

    return record
