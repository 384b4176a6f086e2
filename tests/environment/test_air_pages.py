"""A room's air on its pages: tile, chart of any stretch, table, acknowledging."""

from __future__ import annotations

import csv
import io
from datetime import timedelta
from typing import Any

import numpy as np
import pytest
from django.test import Client
from django.urls import reverse

from lab.common import clock
from lab.environment.air import air_now, room_air
from lab.environment.charting import (
    COLUMNS,
    MOST_BANDS,
    chart_of,
    excursion_bands,
    reduced_of,
)
from lab.environment.models import AirQuantity, Excursion
from lab.environment.selectors import sensors_in
from lab.environment.services import place_sensor, store_readings
from lab.environment.stretches import Stretch, stretch_asked_for
from lab.environment.tasks import find_excursions
from lab.environment.times import us_of
from tests.environment.conftest import at

pytestmark = pytest.mark.django_db
DAY = timedelta(days=1)


@pytest.fixture(autouse=True)
def _noon() -> Any:
    with clock.set_to(at(12)):
        yield


@pytest.fixture
def placed(people: Any, long_room: Any, logger: Any) -> Any:
    place_sensor(
        sensor=logger,
        room=long_room,
        since=at(0, days=-400),
        acting_user=people.quality,
    )
    return logger


def store(people: Any, sensor: Any, times: Any, values: Any) -> None:
    store_readings(
        sensor=sensor,
        quantity="temperature",
        times_us=times,
        values=values,
        source="a test",
        acting_user=people.technician,
    )


def warm_morning(people: Any, sensor: Any) -> None:
    """A day of readings a minute, with a quarter of an hour at 23.5 °C at nine."""
    times = us_of(at(12) - DAY) + np.arange(0, 1440) * 60_000_000
    values = np.full(1440, 20.0)
    values[1260:1275] = 23.5
    store(people, sensor, times, values)
    find_excursions(sensor.pk)


@pytest.mark.parametrize("days", [1, 30, 300])
def test_a_picture_of_any_stretch_keeps_every_peak(people, long_room, placed, days):
    times = us_of(at(0)) - np.arange(1, 1441) * days * 60_000_000
    dice = np.random.default_rng(3)
    values = np.round(20 + dice.normal(0, 0.3, 1440), 3)
    values[dice.integers(0, 1440)] = 27.125
    values[dice.integers(0, 1440)] = 12.5
    store(people, placed, np.sort(times), values)
    stretch = Stretch(at(0) - days * DAY, at(0))
    (stay,) = sensors_in(long_room, stretch.start, stretch.end)
    found = reduced_of(stay, "temperature", stretch)
    assert found.highest.max() == values.max()
    assert found.lowest.min() == values.min()
    assert len(found.starts_us) <= COLUMNS + 2
    chart = chart_of(long_room, AirQuantity.TEMPERATURE, stretch)
    assert chart is not None
    assert len(chart.rows) <= 61


def test_the_page_shows_bands_a_table_and_excursions(
    people, long_room, placed, sign_in
) -> None:
    warm_morning(people, placed)
    client = sign_in(Client(), people.technician)
    page = client.get(reverse("board:air", args=[long_room.pk]))
    text = page.content.decode()
    assert "Temperature above: 23.50 °C, limit 18 °C to 22 °C" in text
    assert "<rect" in text
    assert "The same as a table" in text
    (hot,) = Excursion.objects.filter(kind="temperature")
    address = reverse("environment:acknowledge", args=[hot.pk])
    assert address in text
    assert client.post(address, {"note": "-"}).status_code == 400
    assert client.post(address, {"note": "The blind was open."}).status_code == 302
    again = client.post(address, {"note": "The blind was open."})
    assert b"acknowledged already" in again.content
    shown = client.get(reverse("environment:room", args=[long_room.pk]))
    assert "The blind was open." in shown.content.decode()
    outside = client.get(reverse("board:air", args=[long_room.pk + 999]))
    assert outside.status_code == 404


def test_an_empty_room_and_senseless_dates_still_make_a_page(
    people, long_room, sign_in
) -> None:
    client = sign_in(Client(), people.coordinator)
    for said in (
        "",
        "?from=soon&to=2026-13-45",
        "?from=9999-01-01",
        "?from=2026-02-30",
    ):
        page = client.get(reverse("board:air", args=[long_room.pk]) + said)
        assert page.status_code == 200
        assert b"No logger that stood here" in page.content


def test_a_stretch_is_read_from_days_and_times_and_put_in_order() -> None:
    found = stretch_asked_for({"from": "2026-03-10T08:30", "to": "2026-03-09"})
    assert found.start < found.end
    day = stretch_asked_for({"from": "2026-03-10", "to": "2026-03-10"})
    assert day.length == DAY
    hour = stretch_asked_for({"from": "2026-03-10T08:00", "to": "2026-03-10T08:00"})
    assert hour.length == timedelta(minutes=10)
    closer = next(link for link in day.links() if link.label == "Closer")
    assert closer.query.startswith("from=2026-03-10T06")


def test_very_many_excursions_become_bands_that_hide_none(long_room) -> None:
    stretch = Stretch(at(0), at(0) + 100 * DAY)
    rows = [
        Excursion(
            room=long_room,
            kind="temperature",
            start=at(0) + number * timedelta(hours=2),
            end=at(0) + number * timedelta(hours=2) + timedelta(minutes=5),
            worst=23.0,
        )
        for number in range(1000)
    ]
    bands = excursion_bands(rows, stretch)
    assert len(bands) <= 1000
    for row in rows[::50]:
        assert any(b.start <= row.start and row.end <= b.end for b in bands)
    assert len(excursion_bands(rows[:MOST_BANDS], stretch)) == MOST_BANDS


def test_the_tile_says_value_rate_and_age_and_what_is_stale(
    people, long_room, placed, sign_in
) -> None:
    minutes = np.arange(0, 121)
    times = us_of(at(10)) + minutes * 60_000_000
    store(people, placed, times, np.round(20 + minutes / 120, 6))
    air = room_air(long_room, at(12))
    assert air.word == "Inside its limits"
    assert air.rate_k_per_h == pytest.approx(0.5, abs=1e-3)
    assert air_now(long_room, at(12)).drift_k_per_h == air.rate_k_per_h
    client = sign_in(Client(), people.technician)
    tile = client.get(reverse("environment:tile", args=[long_room.pk]))
    assert "+0.5 K/h over 60 min" in tile.content.decode()
    with clock.set_to(at(12, 40)):
        assert room_air(long_room, at(12, 40)).word == "Stale"
    store(people, placed, [us_of(at(12, 1))], [24.0])
    with clock.set_to(at(12, 2)):
        air = room_air(long_room, at(12, 2))
        assert air.word == "Outside its limits"
        assert "24.0 °C" in air.outside(long_room)[0]
    assert air_now(long_room, at(12, days=2)) is None


def test_a_silent_sensor_is_named(people, long_room, placed) -> None:
    air = room_air(long_room, at(12))
    assert air.silent == (placed,)
    assert air.is_stale


def test_the_table_is_safe_for_a_spreadsheet_and_whole(
    people, long_room, placed, sign_in
) -> None:
    warm_morning(people, placed)
    client = sign_in(Client(), people.coordinator)
    address = reverse("environment:table", args=[long_room.pk])
    day = f"?from={(at(12) - DAY):%Y-%m-%dT%H:%M}&to=2026-03-17T12:00"
    answer = client.get(address + day)
    rows = list(csv.DictReader(io.StringIO(answer.getvalue().decode("utf-8-sig"))))
    assert len(rows) == 1440
    assert max(float(row["As given"]) for row in rows) == 23.5
    year = client.get(address + "?from=2025-03-18&to=2026-03-17")
    hours = list(csv.DictReader(io.StringIO(year.getvalue().decode("utf-8-sig"))))
    assert sum(int(row["Readings"]) for row in hours) == 1440
    assert max(float(row["Highest as given"]) for row in hours) == 23.5
    people_outside = sign_in(Client(), people.client)
    assert people_outside.get(address).status_code == 403
