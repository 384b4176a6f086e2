"""Excursions found as readings arrive: once, moved by late ones, acknowledged."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

import numpy as np
import pytest

from lab.common import clock
from lab.common.errors import NotAcceptable, NotAllowed, WrongState
from lab.common.models import AuditEntry, WorkItem
from lab.environment.models import Excursion, NewReadings
from lab.environment.services import (
    acknowledge_excursion,
    look_through,
    place_sensor,
    store_readings,
)
from lab.environment.tasks import find_excursions
from lab.environment.times import us_of
from lab.laboratory.climate import Limits
from lab.laboratory.services import change_room
from lab.metrology.units import Quantity
from tests.environment.conftest import at, make_device

pytestmark = pytest.mark.django_db
LATER = at(12, days=3)


@pytest.fixture(autouse=True)
def _later() -> Any:
    with clock.set_to(LATER):
        yield


@pytest.fixture
def placed(people: Any, long_room: Any, logger: Any) -> Any:
    """The logger, in the Long Room since the day before."""
    place_sensor(
        sensor=logger, room=long_room, since=at(0, days=-1), acting_user=people.quality
    )
    return logger


def limit(room: Any, people: Any, **more: Any) -> None:
    """Give the room 18 °C to 22 °C, and what is said besides."""
    limits = Limits(
        temperature_lowest=Quantity("18", "°C"),
        temperature_highest=Quantity("22", "°C"),
        **more,
    )
    change_room(
        room=room,
        name=room.name,
        limits=limits,
        in_use=True,
        acting_user=people.quality,
    )


def store(people: Any, sensor: Any, start: datetime, values: Any, **more: Any) -> None:
    """Keep a value every five minutes from an instant on."""
    step = more.get("step", timedelta(minutes=5))
    times = [us_of(start + number * step) for number in range(len(values))]
    store_readings(
        sensor=sensor,
        quantity=more.get("quantity", "temperature"),
        times_us=times,
        values=values,
        source="a test",
        acting_user=people.technician,
    )


def in_force(kind: str) -> list[Excursion]:
    rows = Excursion.objects.filter(kind=kind, in_force=True)
    return list(rows.order_by("start"))


def test_a_warm_hour_is_found_once_with_its_worst(people, placed) -> None:
    store(people, placed, at(9), [21.0, 23.0, 24.0, 23.0, 21.0])
    assert WorkItem.objects.filter(kind="environment.find_excursions").count() == 1
    find_excursions(placed.pk)
    (hot,) = in_force("temperature")
    # Halfway from 21 to 23 °C the line crosses 22 °C.
    assert hot.start == at(9) + timedelta(seconds=150)
    assert hot.end == at(9) + timedelta(seconds=1050)
    assert (hot.worst, hot.worst_at, hot.side) == (24.0, at(9, 10), "above")
    assert not hot.is_open
    assert not NewReadings.objects.exists()
    before = list(Excursion.objects.values())
    find_excursions(placed.pk)
    store(people, placed, at(9), [21.0, 23.0])  # the same readings add nothing
    find_excursions(placed.pk)
    assert list(Excursion.objects.values()) == before


def test_an_open_one_closes_when_the_room_is_back(people, placed) -> None:
    store(people, placed, at(9), [21.0, 23.0, 23.5])
    find_excursions(placed.pk)
    (hot,) = in_force("temperature")
    assert hot.is_open
    assert hot.end == at(9, 10)
    store(people, placed, at(9, 15), [24.0, 21.0])
    find_excursions(placed.pk)
    (same,) = in_force("temperature")
    assert same.pk == hot.pk
    assert not same.is_open
    assert same.worst == 24.0


def test_a_late_reading_parts_what_seemed_one_and_drops_what_was_a_gap(
    people, placed
) -> None:
    store(people, placed, at(9), [23.0] * 4)
    store(people, placed, at(9, 50), [23.0] * 4)
    find_excursions(placed.pk)
    assert len(in_force("temperature")) == 2
    (gap,) = in_force("gap")
    assert (gap.start, gap.end) == (at(9, 15), at(9, 50))
    store(people, placed, at(9, 20), [23.0, 21.0, 21.0, 21.0, 21.0, 23.0])
    find_excursions(placed.pk)
    assert in_force("gap") == []
    first, second = in_force("temperature")
    assert at(9, 20) < first.end < second.start < at(9, 45)
    gone = Excursion.objects.filter(in_force=False)
    assert [one.kind for one in gone] == ["gap"]


def test_the_rate_is_a_slope_over_its_window(people, long_room, placed) -> None:
    limit(long_room, people, rate=Quantity("0.5", "K/h"), rate_window_minutes=60)
    minutes = np.arange(0, 301, 5)
    ramp = np.clip(minutes - 120, 0, 60) / 60.0  # one kelvin in the third hour
    store(people, placed, at(9), (20.0 + ramp).tolist())
    find_excursions(placed.pk)
    (fast,) = in_force("rate")
    assert fast.worst == pytest.approx(1.0, rel=1e-6)
    assert at(11) < fast.start < at(12) < fast.end < at(13)
    assert "slope over 60 min" in fast.limit


def test_humidity_and_spread_have_their_own(people, long_room, placed) -> None:
    limit(
        long_room,
        people,
        spread=Quantity("0.5", "K"),
        humidity_highest=Quantity("60", "%"),
    )
    other = make_device(people, "LG-2", room=long_room)
    place_sensor(
        sensor=other, room=long_room, since=at(0, days=-1), acting_user=people.quality
    )
    store(people, placed, at(9), [20.0] * 5)
    store(people, other, at(9), [20.2, 20.2, 21.0, 20.2, 20.2])
    store(people, placed, at(9), [50.0, 65.0, 50.0], quantity="humidity")
    find_excursions(placed.pk)
    find_excursions(other.pk)
    (damp,) = in_force("humidity")
    assert (damp.worst, damp.sensor) == (65.0, placed)
    (apart,) = in_force("spread")
    assert apart.sensor is None
    assert apart.worst == pytest.approx(1.0)


def test_a_sensor_counts_only_for_the_room_that_it_stood_in(
    people, rooms, placed
) -> None:
    place_sensor(
        sensor=placed, room=rooms["Net Loft"], since=at(10), acting_user=people.quality
    )
    store(people, placed, at(9), [23.0] * 24)
    find_excursions(placed.pk)
    hot = {one.room.name: one for one in in_force("temperature")}
    assert set(hot) == {"Long Room", "Net Loft"}
    assert hot["Long Room"].end <= at(10) <= hot["Net Loft"].start


def test_a_placement_said_late_looks_through_what_was_kept(
    people, long_room, logger
) -> None:
    store(people, logger, at(9), [23.0] * 4)
    find_excursions(logger.pk)
    assert not Excursion.objects.exists()
    place_sensor(sensor=logger, room=long_room, since=at(8), acting_user=people.quality)
    find_excursions(logger.pk)
    assert len(in_force("temperature")) == 1


def test_a_long_span_is_looked_through_in_stretches_that_join(
    people, placed, monkeypatch
) -> None:
    monkeypatch.setattr(
        "lab.environment.services.excursions.AT_ONCE", timedelta(minutes=30)
    )
    store(people, placed, at(9), [21.0] + [23.0] * 22 + [21.0])
    steps = 0
    while look_through(sensor_id=placed.pk, acting_user=people.technician):
        steps += 1
    assert steps >= 3
    (hot,) = in_force("temperature")
    assert hot.start == at(9) + timedelta(seconds=150)
    assert hot.end > at(10, 50)


def test_an_excursion_is_acknowledged_once_and_again_if_it_grew(people, placed) -> None:
    store(people, placed, at(9), [21.0, 23.0, 23.5])
    find_excursions(placed.pk)
    (hot,) = in_force("temperature")
    with pytest.raises(NotAcceptable):
        acknowledge_excursion(excursion=hot, note="-", acting_user=people.technician)
    with pytest.raises(NotAllowed):
        acknowledge_excursion(
            excursion=hot, note="The blind was open.", acting_user=people.client
        )
    said = {"note": "The blind was open.", "acting_user": people.technician}
    acknowledge_excursion(excursion=hot, **said)
    with pytest.raises(WrongState, match="already"):
        acknowledge_excursion(excursion=hot, **said)
    assert AuditEntry.objects.filter(verb="excursion.acknowledged").count() == 1
    store(people, placed, at(9, 15), [23.0, 21.0])
    find_excursions(placed.pk)
    hot.refresh_from_db()
    acknowledge_excursion(excursion=hot, **said)
    assert hot.notes.count() == 2
