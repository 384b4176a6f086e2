"""Readings by the hour: kept once, exact, late ones too, and none overwritten."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from functools import partial
from typing import Any

import numpy as np
import pytest
from django.db import transaction
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.django import TestCase

from lab.common import clock
from lab.common.actors import PROGRAM
from lab.common.errors import NotAcceptable, NotAllowed
from lab.common.models import AuditEntry
from lab.environment.models import ReadingHour
from lab.environment.selectors import (
    envelope,
    hour_summaries,
    newest_reading,
    readings,
    sensors_in,
    stays_of,
)
from lab.environment.services import place_sensor, store_readings
from lab.environment.times import instant_of, us_of
from lab.equipment.models import Device
from lab.metrology.environment.envelopes import DENSE
from tests.environment.conftest import at, make_device

pytestmark = pytest.mark.django_db
FROM, UNTIL = at(0), at(0, days=1)


@pytest.fixture(autouse=True)
def evening() -> Any:
    with clock.set_to(at(23)):
        yield


@pytest.fixture
def store(logger, people) -> Any:
    """Return what keeps readings of LG-1 given as minutes past nine and values."""

    def keep(minutes: list[float], values: list[float], **changes: Any) -> Any:
        times = [us_of(at(9)) + int(minute * 60_000_000) for minute in minutes]
        given = {
            "sensor": logger,
            "quantity": "temperature",
            "times_us": np.array(times, np.int64),
            "values": values,
            "source": "a file",
            "acting_user": people.technician,
        }
        return store_readings(**given | changes)

    return keep


def minutes_of(logger: Device) -> list[tuple[float, float]]:
    times, values = readings(logger, "temperature", FROM, UNTIL)
    return [
        ((time - us_of(at(9))) / 60e6, value)
        for time, value in zip(times.tolist(), values.tolist(), strict=True)
    ]


def test_readings_come_back_as_they_were_given(store, logger) -> None:
    stored = store([70, 0, 30, 59.999], [20.4, 20.1, 20.2, 46.066666666666698])
    assert (stored.added, stored.repeated, stored.conflicts) == (4, 0, ())
    assert minutes_of(logger) == [
        (0, 20.1),
        (30, 20.2),
        (59.999, 46.066666666666698),
        (70, 20.4),
    ]
    rows = ReadingHour.objects.values_list("count", "lowest", "highest")
    assert list(rows) == [(3, 20.1, 46.066666666666698), (1, 20.4, 20.4)]
    entry = AuditEntry.objects.get(verb="readings.stored")
    assert entry.subject_name.startswith("LG-1")
    assert '"added":4' in entry.values_text


def test_the_same_again_adds_nothing(store) -> None:
    store([0, 30], [20.1, 20.2])
    stored = store([30, 0], [20.2, 20.1])
    assert (stored.added, stored.repeated) == (0, 2)
    assert AuditEntry.objects.filter(verb="readings.stored").count() == 1


def test_another_value_at_the_same_instant_is_refused_and_told(store, logger) -> None:
    store([0, 30], [20.1, 20.2])
    stored = store([0, 30, 31, 31], [20.1, 21.5, 20.3, 20.4])
    assert (stored.added, stored.repeated) == (1, 1)
    told = [(one.kept, one.refused) for one in stored.conflicts]
    assert sorted(told) == [(20.2, 21.5), (20.3, 20.4)]
    assert minutes_of(logger) == [(0, 20.1), (30, 20.2), (31, 20.3)]
    newest = AuditEntry.objects.filter(verb="readings.stored").last()
    assert '"conflicts":2' in newest.values_text


def test_a_late_reading_rewrites_its_hour_and_no_other(store, logger) -> None:
    store(list(range(0, 180, 5)), [20.0] * 36)
    before = dict(ReadingHour.objects.values_list("hour", "block"))
    stored = store([62.5], [19.0])
    assert stored.added == 1
    after = dict(ReadingHour.objects.values_list("hour", "block"))
    changed = [hour for hour in after if bytes(after[hour]) != bytes(before[hour])]
    assert changed == [us_of(at(10)) // 3_600_000_000]
    assert ReadingHour.objects.get(hour=changed[0]).lowest == 19.0


def test_channels_and_sensors_are_apart(store, logger, people) -> None:
    other = make_device(people, "LG-2")
    store([0], [20.1])
    store([0], [45.0], quantity="humidity")
    store([0], [19.0], sensor=other)
    assert minutes_of(logger) == [(0, 20.1)]
    assert readings(logger, "humidity", FROM, UNTIL)[1].tolist() == [45.0]


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"values": [float("nan")]}, "finite|NaN"),
        ({"values": [900.0]}, "no temperature of a room"),
        ({"values": [101.0], "quantity": "humidity"}, "relative humidity"),
        ({"values": [20.0], "quantity": "pressure"}, "No sensor"),
        ({"values": [20.0, 21.0]}, "equally long"),
        ({"values": [20.0], "times_us": [us_of(at(0, days=2))]}, "future"),
        ({"values": [20.0], "times_us": [0]}, "before 2001"),
        ({"values": [20.0], "times_us": [1.5]}, "whole numbers"),
    ],
)
def test_what_can_not_be_is_refused_whole(store, changes, said) -> None:
    with pytest.raises(NotAcceptable, match=said):
        store([0], **{"values": [20.0]} | changes)
    assert not ReadingHour.objects.exists()


def test_who_may_not_and_what_is_no_sensor(store, people) -> None:
    with pytest.raises(NotAllowed):
        store([0], [20.0], acting_user=people.client)
    with pytest.raises(NotAcceptable, match="no logger"):
        store([0], [20.0], sensor=make_device(people, "TR-9", kind="tracker"))


def test_envelopes_hold_every_peak_of_dense_and_sparse_hours(store, logger) -> None:
    rng = np.random.default_rng(3)
    seconds = np.concatenate([np.arange(0, 3600, 2), np.arange(3600, 7200, 60)])
    values = np.round(rng.normal(20, 0.1, len(seconds)), 3)
    values[777] = 26.0
    store((seconds / 60).tolist(), values.tolist())
    assert ReadingHour.objects.exclude(envelope=b"").count() == 1 < DENSE
    found = envelope(logger, "temperature", FROM, UNTIL)
    assert len(found.starts_us) == 120
    assert found.highest.max() == 26.0
    assert found.lowest.min() == values.min()
    part = envelope(logger, "temperature", at(9, 10), at(9, 20))
    assert [instant_of(int(us)) for us in part.starts_us[[0, -1]]] == [
        at(9, 10),
        at(9, 19),
    ]
    hours = hour_summaries(logger, "temperature", FROM, UNTIL)
    assert hours.counts.tolist() == [1800, 60]
    assert hours.highest.max() == 26.0


def test_windows_are_half_open_and_may_be_empty(store, logger) -> None:
    store([0, 30, 60], [20.0, 21.0, 22.0])
    times, _ = readings(logger, "temperature", at(9, 30), at(10))
    assert times.tolist() == [us_of(at(9, 30))]
    assert readings(logger, "temperature", at(1), at(2))[0].tolist() == []
    assert envelope(logger, "temperature", at(1), at(2)).starts_us.tolist() == []
    assert hour_summaries(logger, "temperature", at(1), at(2)).counts.tolist() == []


def test_the_newest_reading_before_an_instant(store, logger) -> None:
    assert newest_reading(logger, "temperature", UNTIL) is None
    store([0, 60], [20.0, 21.0])
    assert newest_reading(logger, "temperature", UNTIL) == (us_of(at(10)), 21.0)
    assert newest_reading(logger, "temperature", at(10)) == (us_of(at(9)), 20.0)
    assert newest_reading(logger, "temperature", at(9)) is None


class AnyOrder(TestCase):
    """However batches are cut and ordered, the archive ends up the same."""

    @given(
        batches=st.lists(st.dictionaries(st.integers(0, 40), st.just(0)), max_size=5)
    )
    def test_batches_in_any_order(self, batches: list[dict[int, int]]) -> None:
        sensor = Device.objects.create(tag="LG-8", kind="logger", serial="8")
        start = us_of(datetime(2026, 3, 17, tzinfo=UTC))
        expected: set[int] = set()
        for batch in batches:
            times = [start + 600_000_000 * step for step in batch]
            values = [20 + step / 10 for step in batch]
            with clock.set_to(at(23)):
                stored = store_readings(
                    sensor=sensor,
                    quantity="temperature",
                    times_us=np.array(times, np.int64),
                    values=values,
                    source="a batch",
                    acting_user=PROGRAM,
                )
            assert stored.added == len(set(times) - expected)
            expected |= set(times)
        found, _ = readings(sensor, "temperature", FROM, UNTIL)
        assert found.tolist() == sorted(expected)


# --- Where sensors stand --------------------------------------------------------------


def test_a_sensor_is_placed_moved_and_taken_out(logger, rooms, people) -> None:
    def place(room: str | None, since: datetime, position: str = "") -> Any:
        return place_sensor(
            sensor=logger,
            room=rooms[room] if room else None,
            since=since,
            position=position,
            acting_user=people.technician,
        )

    place("Long Room", at(8), "North wall")
    place("Long Room", at(9), "North wall ")  # changes nothing
    place("Net Loft", at(10))
    place(None, at(12))
    stays = [(s.room and s.room.name, s.start, s.end) for s in stays_of(logger)]
    assert stays == [
        ("Long Room", at(8), at(10)),
        ("Net Loft", at(10), at(12)),
        (None, at(12), None),
    ]
    (stay,) = sensors_in(rooms["Long Room"], at(9), at(11))
    assert (stay.sensor, stay.start, stay.end) == (logger, at(9), at(10))
    assert sensors_in(rooms["Net Loft"], at(13), at(14)) == []
    place("Long Room", at(10), "On the bench")  # it never was in the loft
    assert sensors_in(rooms["Net Loft"], at(9), at(14)) == []
    assert AuditEntry.objects.filter(verb="sensor.placed").count() == 4


def test_only_sensors_are_placed_and_not_tomorrow(rooms, logger, people) -> None:
    place = partial(
        place_sensor, room=rooms["Long Room"], acting_user=people.technician
    )
    with pytest.raises(NotAcceptable, match="no logger"):
        place(sensor=make_device(people, "TR-9", kind="tracker"), since=at(9))
    with pytest.raises(NotAcceptable, match="future"):
        place(sensor=logger, since=at(9) + timedelta(days=2))


# --- Several at once ------------------------------------------------------------------


@pytest.mark.postgres
@pytest.mark.django_db(transaction=True)
def test_writers_of_one_hour_at_once_lose_nothing(on_postgres, in_threads) -> None:
    sensor = Device.objects.create(tag="LG-8", kind="logger", serial="8")
    start = us_of(at(9))

    def write(shift: int) -> None:
        for batch in range(5):
            steps = range(batch * 20 + shift * 10, batch * 20 + shift * 10 + 30)
            with clock.set_to(at(23)), transaction.atomic():
                store_readings(
                    sensor=sensor,
                    quantity="temperature",
                    times_us=[start + step * 60_000_000 for step in steps],
                    values=[20 + step / 100 for step in steps],
                    source="a thread",
                    acting_user=PROGRAM,
                )

    assert in_threads([partial(write, shift) for shift in range(4)]) == []
    times, values = readings(sensor, "temperature", FROM, UNTIL)
    assert times.tolist() == [start + step * 60_000_000 for step in range(140)]
    assert values.tolist() == [20 + step / 100 for step in range(140)]
