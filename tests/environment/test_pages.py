"""Pages of the rooms: how the air is, what it was, and how a reading gets there."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from lab.common import clock
from lab.common.models import AuditEntry
from lab.environment.models import SpotReading
from lab.laboratory.models import Room
from tests.environment.conftest import at

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def ten() -> Any:
    with clock.set_to(at(10)):
        yield


@pytest.fixture
def client(people, sign_in) -> Client:
    return sign_in(Client(), people.technician)


def page_of(client: Client, name: str, *keys: object) -> str:
    answer = client.get(reverse(name, args=keys))
    assert answer.status_code == 200
    return " ".join(answer.content.decode().split())


def typed(logger: Any, **changes: str) -> dict[str, str]:
    return {
        "temperature_text": "20.3",
        "temperature_unit": "°C",
        "humidity_text": "47",
        "humidity_unit": "%",
        "sensor": str(logger.pk),
        "at": "2026-03-17T09:58",
    } | changes


def test_the_list_says_value_and_age_and_what_is_stale(client, rooms, read) -> None:
    read(at(9, 40))
    read(at(7, 30), room=rooms["Net Loft"])
    text = page_of(client, "environment:rooms")
    assert (
        "Inside its limits</span> <strong>20.1 °C, 46 %</strong>, read 20 min" in text
    )
    assert '<span class="state state-wait">Stale</span>' in text
    assert "read 2 h ago" in text


def test_the_list_asks_a_fixed_number_of_times(
    client, long_room, read, django_assert_max_num_queries
) -> None:
    for number in range(20):
        made = Room.objects.create(
            site=long_room.site,
            name=f"Booth {number}",
            temperature_lowest=long_room.temperature_lowest,
            temperature_highest=long_room.temperature_highest,
        )
        read(at(9) + timedelta(minutes=number), room=made)
    with django_assert_max_num_queries(12):
        text = page_of(client, "environment:rooms")
    assert text.count("Inside its limits") == 20


def test_a_room_s_readings_are_paged_newest_first(
    client, long_room, read, django_assert_max_num_queries
) -> None:
    for number in range(55):
        read(at(9) - timedelta(hours=number))
    with django_assert_max_num_queries(13):
        text = page_of(client, "environment:room", long_room.pk)
    assert "18 °C to 22 °C" in text
    assert "at most 60 %" in text
    address = reverse("environment:room", args=[long_room.pk])
    page = client.get(address).context["page"]
    assert [one.at for one in page.rows[:2]] == [at(9), at(8)]
    older = client.get(address, {"page": page.next_key}).context["page"]
    assert len(older.rows) == 5
    assert client.get(address, {"page": "2"}).status_code == 400


def test_a_reading_is_recorded_on_a_page_once(
    client, people, long_room, logger
) -> None:
    address = reverse("environment:record", args=[long_room.pk])
    begun = client.get(address)
    assert 'class="big"' in begun.content.decode()
    assert begun.context["form"].initial == {"at": at(10), "sensor": logger.pk}
    for _ in range(2):
        assert client.post(address, typed(logger)).status_code == 302
    made = SpotReading.objects.get()
    assert (made.at, str(made.temperature)) == (at(9, 58), "20.3 °C")
    assert AuditEntry.objects.get(verb="reading.recorded").actor == people.technician
    assert "20.3 °C, 47 %" in page_of(client, "environment:room", long_room.pk)


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"temperature_text": "NaN"}, "temperature"),
        ({"temperature_text": ""}, "temperature"),
        ({"temperature_unit": "K"}, "temperature"),
        ({"temperature_text": "203"}, "temperature"),
        ({"humidity_text": "470"}, "humidity"),
        ({"humidity_text": "-1"}, "humidity"),
        ({"sensor": ""}, "sensor"),
        ({"at": "2026-03-17T10:20"}, "at"),
        ({"at": "soon"}, "at"),
    ],
)
def test_nonsense_is_said_beside_its_field(
    client, long_room, logger, changes: dict[str, str], field: str
) -> None:
    address = reverse("environment:record", args=[long_room.pk])
    answer = client.post(address, typed(logger, **changes))
    assert answer.status_code == 400
    assert list(answer.context["form"].errors) == [field]
    assert not SpotReading.objects.exists()


def test_a_reading_is_corrected_on_a_page(client, long_room, logger, read) -> None:
    first = read(at(9, 58))
    address = reverse("environment:correct", args=[first.pk])
    assert address in page_of(client, "environment:room", long_room.pk)
    assert client.post(address, typed(logger)).status_code == 400
    answer = typed(logger, reason="The logger's memory says 20.3.")
    assert client.post(address, answer).status_code == 302
    text = page_of(client, "environment:room", long_room.pk)
    assert 'class="voided"' in text
    assert "20.1 °C" in text
    assert "corrected: The logger&#x27;s memory says 20.3." in text
    assert address not in text
    again = client.post(address, answer)
    assert again.status_code == 400
    assert "corrected already" in again.content.decode()
    assert SpotReading.objects.count() == 2


def test_who_sees_and_who_reads(people, sign_in, long_room, logger, read) -> None:
    made = read(at(9, 58))
    seen = [
        reverse("environment:rooms"),
        reverse("environment:room", args=[long_room.pk]),
    ]
    written = [
        reverse("environment:record", args=[long_room.pk]),
        reverse("environment:correct", args=[made.pk]),
    ]
    reader = sign_in(Client(), people.coordinator)
    outsider = sign_in(Client(), people.client)
    for address in seen:
        assert reader.get(address).status_code == 200
        assert reader.post(address).status_code == 405
        assert written[0] not in reader.get(address).content.decode()
    for address in written:
        assert reader.get(address).status_code == 403
        assert reader.post(address, typed(logger)).status_code == 403
    for address in seen + written:
        assert outsider.get(address).status_code == 403
        assert Client().get(address).status_code == 302
    writer = sign_in(Client(), people.technician)
    for address in ("/rooms/77/", "/rooms/77/record/", "/rooms/readings/77/correct/"):
        assert writer.get(address).status_code == 404
    assert SpotReading.objects.count() == 1
