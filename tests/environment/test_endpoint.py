"""The loggers' endpoint: each reading once, by a key, described and hard to break."""

from __future__ import annotations

import json
from collections.abc import Iterator
from functools import partial
from typing import Any

import pytest
import schemathesis
from django.core.signals import request_finished, request_started
from django.db import close_old_connections, connections
from django.test import Client
from django.urls import reverse
from hypothesis import HealthCheck, given
from hypothesis import settings as hypothesis_settings

from lab.common import clock
from lab.common.models import AuditEntry
from lab.environment import keys
from lab.environment.models import LoggerToken, ReadingHour
from lab.environment.selectors import readings
from lab.environment.services import issue_token, revoke_token
from lab.environment.times import instant_of, us_of
from lab.equipment.models import Device
from lab.wsgi import application
from tests.environment.conftest import at

pytestmark = pytest.mark.django_db
ADDRESS = "/api/v1/readings"


@pytest.fixture(autouse=True)
def evening() -> Any:
    with clock.set_to(at(23)):
        yield


@pytest.fixture
def key(people, logger) -> tuple[LoggerToken, str]:
    return issue_token(sensor=logger, name="gateway", acting_user=people.technician)


@pytest.fixture
def send(key) -> Any:
    """Return what posts readings, or any body, with the key."""

    def post(rows: Any, secret: str = key[1], **more: Any) -> Any:
        body = rows if isinstance(rows, str) else json.dumps({"readings": rows})
        return Client(enforce_csrf_checks=True).post(
            ADDRESS,
            body,
            content_type="application/json",
            headers={"Authorization": f"Bearer {secret}"},
            **more,
        )

    return post


def row(minute: int, **values: float) -> dict[str, Any]:
    when = f"2026-03-17T09:{minute:02}:00Z"
    return {"at": when} | (values or {"temperature_degc": 20.0 + minute / 100})


def test_a_batch_is_kept_and_the_same_again_changes_nothing(send, logger) -> None:
    batch = [row(1), row(0, temperature_degc=20.5, humidity_percent=45)]
    first = send(batch)
    assert first.status_code == 200
    assert first.json() == {"added": 3, "known": 0, "refused": []}
    assert send(batch).json() == {"added": 0, "known": 3, "refused": []}
    times, values = readings(logger, "temperature", at(0), at(23))
    assert [instant_of(us) for us in times.tolist()] == [at(9), at(9, 1)]
    assert values.tolist() == [20.5, 20.01]
    entries = AuditEntry.objects.filter(verb="readings.stored")
    assert (
        entries.count() == 2
    )  # one for each quantity of the batch, not of each reading
    assert "gateway" in entries[0].values_text


def test_fahrenheit_and_offsets(send, logger) -> None:
    send([{"at": "2026-03-17T10:00:00+01:00", "temperature_degf": 69.88083514}])
    times, values = readings(logger, "temperature", at(0), at(23))
    assert times.tolist() == [us_of(at(9))]
    assert values.tolist() == [21.044908]


def test_what_can_not_be_kept_is_named_and_the_rest_is(send, logger) -> None:
    send([row(0)])
    answer = send(
        [
            row(0, temperature_degc=25),
            row(1),
            row(2, temperature_degc=900),
            {"at": "2030-01-01T00:00:00Z", "humidity_percent": 40},
            {"at": "1970-01-01T00:00:00Z", "temperature_degc": 20},
        ]
    ).json()
    assert answer["added"] == 1
    assert [one["position"] for one in answer["refused"]] == [0, 2, 3, 4]
    reasons = " ".join(one["reason"] for one in answer["refused"])
    for word in ("20 is kept", "does not lie", "future", "before 2001"):
        assert word in reasons


@pytest.mark.parametrize(
    "body",
    [
        "",
        "[]",
        "{}",
        '{"readings": []}',
        '{"readings": [{"at": "2026-03-17T09:00:00Z"}]}',
        '{"readings": [{"at": "2026-03-17T09:00:00", "temperature_degc": 20}]}',
        '{"readings": [{"at": "2026-03-17T09:00:00Z", "temperature_degc": NaN}]}',
        '{"readings": [{"at": "2026-03-17T09:00:00Z", "pressure": 20}]}',
        (
            '{"readings": [{"at": "2026-03-17T09:00:00Z", "temperature_degc": 20,'
            ' "temperature_degf": 68}]}'
        ),
    ],
)
def test_a_body_that_is_no_batch_is_refused_whole(send, body) -> None:
    answer = send(body)
    assert answer.status_code in (400, 422)
    assert answer.json()["detail"]
    assert not ReadingHour.objects.exists()


def test_ten_thousand_readings_are_taken_and_no_more(send) -> None:
    start = us_of(at(0)) - 10_000 * 60_000_000
    rows = [
        {
            "at": instant_of(start + n * 60_000_000).isoformat(),
            "temperature_degc": 20 + n % 100 / 100,
        }
        for n in range(10_001)
    ]
    assert send(rows).status_code == 422
    assert send(rows[:10_000]).json()["added"] == 10_000


def test_keys_open_only_while_they_are_good(send, key, people) -> None:
    assert send([row(0)], secret="unbroken-of-nobody").status_code == 401
    assert (
        Client().post(ADDRESS, "{}", content_type="application/json").status_code == 401
    )
    assert send([row(0)]).status_code == 200
    key[0].refresh_from_db()
    assert key[0].last_used_at == at(23)
    revoke_token(token=key[0], acting_user=people.technician)
    assert send([row(1)]).status_code == 401


def test_a_key_sends_so_many_batches_a_minute(send, monkeypatch) -> None:
    monkeypatch.setattr(keys, "BATCHES_A_MINUTE", 2)
    assert [send([row(0)]).status_code for _ in range(3)] == [200, 200, 429]
    refused = send([row(0)])
    assert refused.headers["Retry-After"] == "60"
    assert "minute" in refused.json()["detail"]
    with clock.set_to(at(23, 1)):
        assert send([row(0)]).status_code == 200


def test_other_methods_and_pages_of_the_endpoint(send, client) -> None:
    assert client.get(ADDRESS).status_code == 405
    assert client.get("/api/v1/").status_code in (403, 404)
    assert client.get("/api/v1/docs").status_code == 404
    described = client.get("/api/v1/openapi.json").json()
    assert list(described["paths"]) == [reverse("readings-api:store")]


@pytest.fixture
def kept_connection() -> Iterator[None]:
    """Let a request not close the connection that holds the test's transaction."""
    request_started.disconnect(close_old_connections)
    request_finished.disconnect(close_old_connections)
    yield
    request_started.connect(close_old_connections)
    request_finished.connect(close_old_connections)


def test_no_request_makes_the_server_fail(key, people, kept_connection) -> None:
    schema = schemathesis.openapi.from_wsgi("/api/v1/openapi.json", application)
    answers: list[int] = []

    strategy = schema["/api/v1/readings"]["POST"].as_strategy()

    @given(case=strategy)
    @hypothesis_settings(
        max_examples=25, suppress_health_check=list(HealthCheck), database=None
    )
    def try_one(case: Any) -> None:
        answer = case.call(headers={"Authorization": f"Bearer {key[1]}"})
        answers.append(answer.status_code)
        assert answer.status_code < 500

    try_one()
    # The key was good, so that each was read; hardly one makes a reading by chance.
    assert len(answers) >= 25
    assert set(answers) <= {200, 422}


@pytest.mark.postgres
@pytest.mark.django_db(transaction=True)
def test_four_clients_with_overlapping_batches(on_postgres, in_threads, people) -> None:
    sensor = Device.objects.create(tag="LG-9", kind="logger", serial="9")
    _, secret = issue_token(sensor=sensor, name="all", acting_user=people.technician)
    added: list[int] = []

    def hammer(shift: int) -> None:
        with clock.set_to(at(23)):
            for batch in range(6):
                steps = range(batch * 8 + shift * 2, batch * 8 + shift * 2 + 12)
                body = {"readings": [row(step) for step in steps if step < 60]}
                answer = Client().post(
                    ADDRESS,
                    json.dumps(body),
                    content_type="application/json",
                    headers={"Authorization": f"Bearer {secret}"},
                )
                assert answer.status_code == 200
                assert answer.json()["refused"] == []
                added.append(answer.json()["added"])
        connections.close_all()

    assert in_threads([partial(hammer, shift) for shift in range(4)]) == []
    times, values = readings(sensor, "temperature", at(0), at(23))
    expected = [us_of(at(9, minute)) for minute in range(58)]
    assert times.tolist() == expected
    assert values.tolist() == [20 + minute / 100 for minute in range(58)]
    assert sum(added) == len(expected)
