"""Readings of a room's air: kept once, corrected by new ones, summed up."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest

from lab.common import clock
from lab.common.errors import NotAcceptable, NotAllowed, WrongState
from lab.common.frozen import FrozenRecordChange
from lab.common.models import AuditEntry
from lab.environment.models import SpotReading
from lab.environment.selectors import conditions, rooms_now
from lab.environment.services import correct_spot_reading
from lab.laboratory.models import Room
from lab.metrology.units import Quantity
from tests.environment.conftest import at, make_device

pytestmark = pytest.mark.django_db


def correct(reading: SpotReading, actor: Any, **changes: Any) -> SpotReading:
    with clock.set_to(at(12)):
        return correct_spot_reading(
            **{
                "reading": reading,
                "temperature": Quantity("20.7", "°C"),
                "humidity": Quantity("46", "%"),
                "reason": "Read upside down; the logger's memory says 20.7.",
                "acting_user": actor,
            }
            | changes
        )


def test_a_reading_is_kept_as_typed_and_leaves_a_trace(people, read) -> None:
    made = read(temperature=Quantity("68.2", "°F"))
    assert str(SpotReading.objects.get().temperature) == "68.2 °F"
    entry = AuditEntry.objects.get(verb="reading.recorded")
    assert entry.actor == people.technician
    assert '"temperature":"68.2 °F"' in entry.values_text
    with pytest.raises(FrozenRecordChange):
        made.save()


def test_the_same_reading_is_kept_once(read) -> None:
    assert read() == read()
    assert SpotReading.objects.count() == 1
    assert AuditEntry.objects.filter(verb="reading.recorded").count() == 1
    with pytest.raises(WrongState, match=r"already: 20\.1 °C in Long Room"):
        read(temperature=Quantity("20.2", "°C"))
    assert read(at(9, 1)).temperature == Quantity("20.1", "°C")


@pytest.mark.parametrize(
    ("change", "message", "field"),
    [
        ({"at": at(9, 6)}, "future", "at"),
        ({"temperature": Quantity("201", "°C")}, "no air", "temperature"),
        ({"temperature": Quantity("-30", "°C")}, "no air", "temperature"),
        ({"temperature": Quantity("293", "°F")}, "no air", "temperature"),
        ({"humidity": Quantity("460", "%")}, "can't be", "humidity"),
    ],
)
def test_air_that_can_not_be_is_refused(
    read, change: dict[str, Any], message: str, field: str
) -> None:
    with pytest.raises(NotAcceptable, match=message) as refusal:
        read(at(9), **change)
    assert refusal.value.field == field
    assert not SpotReading.objects.exists()


def test_a_contact_thermometer_does_not_read_the_air(people, read) -> None:
    meter = make_device(people, "CT-1", "contact thermometer")
    with pytest.raises(NotAcceptable, match="CT-1") as refusal:
        read(sensor=meter)
    assert refusal.value.field == "sensor"


def test_who_may_read(people, read) -> None:
    for person in (people.coordinator, people.administrator, people.client):
        with pytest.raises(NotAllowed):
            read(acting_user=person)


# --- Corrections --------------------------------------------------------------------


def test_a_correction_supersedes_and_both_stay(people, read) -> None:
    first = read()
    second = correct(first, people.technician2)
    assert (second.supersedes, second.at, second.sensor) == (
        first,
        first.at,
        first.sensor,
    )
    assert SpotReading.objects.count() == 2
    entry = AuditEntry.objects.get(verb="reading.corrected")
    assert entry.reason.startswith("Read upside down")
    assert '"temperature":"20.1 °C"' in entry.values_text
    with pytest.raises(WrongState, match="corrected already"):
        correct(first, people.technician)
    third = correct(second, people.technician, at=at(8, 55))
    assert SpotReading.objects.get(superseded_by=None) == third


def test_a_correction_needs_a_reason_and_sense(people, read) -> None:
    first = read()
    for change, field in (
        ({"reason": "-"}, "reason"),
        ({"temperature": Quantity("207", "°C")}, "temperature"),
        ({"at": at(13)}, "at"),
    ):
        with pytest.raises(NotAcceptable) as refusal:
            correct(first, people.technician, **change)
        assert refusal.value.field == field
    with pytest.raises(NotAllowed):
        correct(first, people.coordinator)
    assert SpotReading.objects.count() == 1


# --- Conditions ---------------------------------------------------------------------


def test_conditions_are_the_extremes_of_what_is_in_force(people, read, rooms) -> None:
    """20.1 at nine, 68.9 °F = 20.5 °C at ten; 25 at half past nine was a slip."""
    read(at(9))
    slip = read(at(9, 30), temperature=Quantity("25", "°C"))
    read(at(10), temperature=Quantity("68.9", "°F"), humidity=None)
    read(at(11), temperature=Quantity("17", "°C"))
    correct(slip, people.technician, temperature=Quantity("20.4", "°C"))
    room = rooms["Long Room"]
    found = conditions(room, at(9), at(10))
    assert found is not None
    assert str(found.temperature_lowest) == "20.1 °C"
    assert str(found.temperature_highest) == "68.9 °F"
    assert (str(found.humidity_lowest), str(found.humidity_highest)) == ("46 %", "46 %")
    assert (found.count, found.first_at, found.last_at) == (3, at(9), at(10))
    assert [sensor.tag for sensor in found.sensors] == ["LG-1"]
    assert conditions(room, at(9, 1), at(9, 29)) is None
    assert conditions(rooms["Net Loft"], at(9), at(10)) is None


def test_humidity_that_nobody_read_is_none(read, long_room) -> None:
    read(humidity=None)
    found = conditions(long_room, at(9), at(9))
    assert found is not None
    assert found.humidity_lowest is None
    assert found.humidity_highest is None


@pytest.mark.parametrize(
    ("temperature", "humidity", "minutes", "word", "shape", "age"),
    [
        ("22", "60", 60, "Inside its limits", "state-good", "1 h ago"),
        ("20", None, 61, "Stale", "state-wait", "1 h ago"),
        ("22.1", "50", 5, "Outside its limits", "state-bad", "5 min ago"),
        ("20", "61", 5, "Outside its limits", "state-bad", "5 min ago"),
        ("17.9", "50", 3000, "Outside its limits, stale", "state-bad", "2 days ago"),
    ],
)
def test_how_a_room_is_now_is_said_by_word_shape_and_age(
    read,
    long_room,
    temperature: str,
    humidity: str | None,
    minutes: int,
    word: str,
    shape: str,
    age: str,
) -> None:
    read(
        temperature=Quantity(temperature, "°C"),
        humidity=Quantity(humidity, "%") if humidity else None,
    )
    only = Room.objects.filter(pk=long_room.pk)
    (now,) = rooms_now(only, at(9) + timedelta(minutes=minutes))
    assert (now.word, now.shape) == (word, shape)
    assert now.age == age


def test_a_room_that_was_never_read_says_so(rooms, django_assert_num_queries) -> None:
    with django_assert_num_queries(1):
        found = rooms_now(Room.objects.all(), at(9))
    assert {(now.word, now.shape, now.age) for now in found} == {
        ("Never read", "state-off", "")
    }
