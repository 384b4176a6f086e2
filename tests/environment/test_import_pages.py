"""Pages of imports, sensors and keys: what people see and do there."""

from __future__ import annotations

import csv
import io
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.test.utils import override_settings
from django.urls import reverse

from lab.common import clock
from lab.common.models import AuditEntry
from lab.common.work.running import work_off
from lab.environment.models import (
    LoggerToken,
    ReadingHour,
    ReadingImport,
    SensorPlacement,
)
from tests.environment.conftest import at, make_device

pytestmark = pytest.mark.django_db
FILE = (
    "Time;LG-1 Temp (°C);LG-1 RH (%)\n"
    "2026-03-17 09:00;20,1;45,0\n2026-03-17 09:10;20,2;45,5\n"
    "2026-03-17 09:20;99,0;=1+1\n2026-03-17 09:20;20,3\n"
)


@pytest.fixture(autouse=True)
def evening() -> Any:
    with clock.set_to(at(23)):
        yield


@pytest.fixture
def client(people, sign_in) -> Client:
    return sign_in(Client(), people.technician)


def send(client: Client, text: str = FILE, source: str = "Long Room") -> Any:
    file = SimpleUploadedFile("march.csv", text.encode())
    address = reverse("environment:upload")
    return client.post(address, {"file": file, "source_name": source})


def chosen(client: Client, one: ReadingImport, **changes: str) -> dict[str, str]:
    """Return what the form holds when it is shown, changed."""
    form = client.get(reverse("environment:import", args=[one.pk])).context["form"]
    fields = {bound.name: bound.value() for bound in form}
    return {k: "" if v is None else str(v) for k, v in fields.items()} | changes


def page_of(client: Client, name: str, *keys: object) -> str:
    answer = client.get(reverse(name, args=keys))
    assert answer.status_code == 200
    return " ".join(answer.content.decode().split())


def test_a_file_is_sent_looked_at_confirmed_and_reported(client, logger) -> None:
    answer = send(client)
    one = ReadingImport.objects.get()
    assert answer.headers["Location"] == reverse("environment:import", args=[one.pk])
    shown = page_of(client, "environment:import", one.pk)
    assert "Waits for confirmation" in shown
    assert "does not say in which zone" in shown
    assert not ReadingHour.objects.exists()
    confirm = reverse("environment:confirm", args=[one.pk])
    answer = client.post(confirm, chosen(client, one))
    assert answer.status_code == 302
    shown = page_of(client, "environment:import", one.pk)
    assert "<progress" in shown
    assert 'hx-trigger="every 1s"' in shown
    work_off()
    shown = page_of(client, "environment:import", one.pk)
    assert "Imported" in shown
    assert "The row has another number of columns" in shown
    one.refresh_from_db()
    assert (one.added, one.left_out) == (4, 3)
    report = client.get(reverse("environment:report", args=[one.pk]))
    rows = list(csv.reader(io.StringIO(report.content.decode("utf-8-sig"))))
    assert rows[1] == ["4", "LG-1 Temp (°C)", "No air is like that", "99,0"]
    assert rows[2][3] == "'=1+1"
    assert rows[3][0] == "5"
    assert "march.csv" in page_of(client, "environment:imports")


def test_the_progress_alone_is_asked_for_until_it_is_done(client, logger) -> None:
    send(client)
    one = ReadingImport.objects.get()
    client.post(reverse("environment:confirm", args=[one.pk]), chosen(client, one))
    address, htmx = reverse("environment:import", args=[one.pk]), {"HX-Request": "true"}
    part = client.get(address, headers=htmx).content.decode()
    assert part.strip().startswith("<section")
    assert "<html" not in part
    work_off()
    assert client.get(address, headers=htmx).headers["HX-Refresh"] == "true"


def test_what_was_confirmed_is_filled_in_the_next_time(client, logger, people) -> None:
    make_device(people, "LG-2")
    send(client)
    first = ReadingImport.objects.get()
    answers = chosen(client, first, sensor_1="LG-2", sensor_2="", zone="+00:00")
    client.post(reverse("environment:confirm", args=[first.pk]), answers)
    work_off()
    send(client, FILE.replace("09:", "10:"))
    second = ReadingImport.objects.first()
    again = chosen(client, second)
    assert (again["sensor_1"], again["sensor_2"], again["zone"]) == (
        "LG-2",
        "",
        "+00:00",
    )
    shown = page_of(client, "environment:import", second.pk)
    assert "what was confirmed for the last one is filled in" in shown
    send(client)
    third = ReadingImport.objects.first()
    assert "imported before" in page_of(client, "environment:import", third.pk)


def test_what_is_left_open_is_asked_for(client, logger) -> None:
    send(client, "date,temp\n03/04/2026 09:00,20.1\n")
    one = ReadingImport.objects.get()
    address = reverse("environment:confirm", args=[one.pk])
    answer = client.post(address, chosen(client, one, sensor_1="LG-1"))
    assert answer.status_code == 400
    assert "This field is required" in answer.content.decode()
    answer = client.post(address, chosen(client, one, time_form="dmy"))
    assert answer.status_code == 400
    assert "No column goes to a sensor" in answer.content.decode()
    assert not ReadingHour.objects.exists()


def test_the_columns_may_be_put_right(client, logger) -> None:
    send(client)
    one = ReadingImport.objects.get()
    address = reverse("environment:import", args=[one.pk])
    shown = client.get(address, {"delimiter": ",", "header": "0"})
    assert shown.context["guess"].layout.delimiter == ","
    assert shown.context["guess"].layout.names == ()


def test_a_file_that_is_no_log_is_said_to_be_none(client, logger) -> None:
    send(client, "Dear lab,\nno readings today.\n")
    one = ReadingImport.objects.get()
    assert "No columns were found" in page_of(client, "environment:import", one.pk)
    answer = client.post(reverse("environment:confirm", args=[one.pk]), {})
    assert answer.status_code == 400


def test_no_name_no_text_and_too_large_are_refused(client) -> None:
    assert "name a new one" in send(client, source=" ").content.decode()
    binary = SimpleUploadedFile("x.csv", b"\x00\x01\x02")
    answer = client.post(
        reverse("environment:upload"), {"file": binary, "source_name": "A logger"}
    )
    assert "not a text file" in answer.content.decode()
    small = {"readings": 10, "other": 10}
    with override_settings(UPLOAD_LIMITS=small):
        assert send(client).status_code == 400
    assert not ReadingImport.objects.exists()


def test_cancelling_and_clicking_twice(client, logger) -> None:
    send(client)
    one = ReadingImport.objects.get()
    answers = chosen(client, one)
    address = reverse("environment:cancel", args=[one.pk])
    assert client.get(address).status_code == 405
    client.post(address)
    one.refresh_from_db()
    assert one.state == "cancelled"
    assert client.post(address).status_code == 409
    confirm = reverse("environment:confirm", args=[one.pk])
    assert client.post(confirm, answers).status_code == 400
    work_off()
    assert not ReadingHour.objects.exists()


def test_who_sees_and_who_imports(people, sign_in, client, logger) -> None:
    send(client)
    one = ReadingImport.objects.get()
    address = reverse("environment:import", args=[one.pk])
    outsider = sign_in(Client(), people.client)
    assert outsider.get(address).status_code == 403
    reader = sign_in(Client(), people.coordinator)
    shown = reader.get(address).content.decode()
    assert "Import the readings" not in shown
    confirm = reverse("environment:confirm", args=[one.pk])
    assert reader.post(confirm, {}).status_code == 403
    assert send(reader).status_code == 403
    assert (
        client.get(reverse("environment:import", args=[one.pk + 1])).status_code == 404
    )


# --- Sensors and keys -----------------------------------------------------------------


def test_a_sensor_is_placed_on_a_page(client, logger, long_room) -> None:
    assert "Not placed" in page_of(client, "environment:sensors")
    answer = client.post(
        reverse("environment:place"),
        {
            "sensor": logger.pk,
            "room": long_room.pk,
            "since": "2026-03-17T08:00",
            "position": "north wall",
        },
    )
    assert answer.status_code == 302
    assert SensorPlacement.objects.get().room == long_room
    shown = page_of(client, "environment:sensors")
    assert "north wall" in shown
    tomorrow = {"sensor": logger.pk, "since": "2026-03-19T08:00"}
    answer = client.post(reverse("environment:place"), tomorrow)
    assert "lies in the future" in answer.content.decode()


def test_a_key_is_shown_once_and_withdrawn(client, logger) -> None:
    address = reverse("environment:tokens")
    given = {"sensor": logger.pk, "name": "gateway"}
    answer = client.post(address, given)
    secret = answer.context["made"][1]
    assert secret in answer.content.decode()
    assert "no-store" in answer.headers["Cache-Control"]
    assert secret not in client.get(address).content.decode()
    token = LoggerToken.objects.get()
    assert secret not in str(vars(token))
    assert secret not in "".join(
        AuditEntry.objects.values_list("values_text", flat=True)
    )
    again = client.post(address, given)
    assert again.status_code == 400
    assert "has a key of that name" in again.content.decode()
    withdraw = reverse("environment:revoke", args=[token.pk])
    assert client.post(withdraw).status_code == 302
    assert client.post(withdraw).status_code == 409
    assert client.post(address, given).status_code == 200
