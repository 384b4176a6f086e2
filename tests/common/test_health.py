"""``/healthz`` tells whoever watches whether somebody must look, and no secret."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

import pytest
from django.db import OperationalError, connection
from django.test import Client

from lab.common import clock, fences
from lab.common.models import WorkerHeartbeat, WorkItem
from lab.common.running import health

pytestmark = pytest.mark.django_db


def beat(at: datetime) -> None:
    WorkerHeartbeat.objects.create(name=f"worker {at}", started_at=at, at=at)


def ask(client: Client) -> tuple[int, dict[str, Any]]:
    answer = client.get("/healthz")
    assert "no-store" in answer["Cache-Control"]
    return answer.status_code, answer.json()


def test_all_is_well(client: Client, noon: datetime) -> None:
    beat(noon - timedelta(days=3))
    beat(noon - timedelta(seconds=9))
    WorkItem.objects.create(kind="probe.run", not_before=noon - timedelta(seconds=2))
    with clock.set_to(noon):
        status, said = ask(client)
    assert status == 200
    assert said == {
        "ok": True,
        "database": "reachable",
        "fences": "standing",
        "worker": "alive",
        "worker_silent_s": 9.0,
        "oldest_wanted_s": 2.0,
        "failed_work": 0,
    }


@pytest.mark.parametrize("silent_s", [None, 61])
def test_a_silent_worker_is_told(
    client: Client, noon: datetime, silent_s: int | None
) -> None:
    if silent_s is not None:
        beat(noon - timedelta(seconds=silent_s))
    with clock.set_to(noon):
        status, said = ask(client)
    assert (status, said["worker"]) == (503, "silent")


def test_work_that_waits_too_long_is_told(client: Client, noon: datetime) -> None:
    beat(noon)
    WorkItem.objects.create(kind="probe.run", not_before=noon - timedelta(minutes=16))
    with clock.set_to(noon):
        status, said = ask(client)
    assert (status, said["oldest_wanted_s"]) == (503, 960.0)


def test_work_that_is_to_be_tried_later_is_not_late(
    client: Client, noon: datetime
) -> None:
    beat(noon)
    WorkItem.objects.create(
        kind="probe.run",
        wanted_at=noon - timedelta(days=1),
        not_before=noon + timedelta(minutes=1),
    )
    with clock.set_to(noon):
        assert ask(client)[0] == 200


def test_a_missing_fence_is_told(client: Client, noon: datetime) -> None:
    beat(noon)
    fences.drop(connection)
    with clock.set_to(noon):
        status, said = ask(client)
    fences.build(connection)
    assert (status, said["fences"]) == (503, "not all standing")


def test_a_database_that_is_away_is_told(
    client: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    def away() -> None:
        raise OperationalError("could not connect as lab with password gull")

    monkeypatch.setattr(health, "waiting_since", away)
    status, said = ask(client)
    assert (status, said["database"]) == (503, "not reachable")
    assert "gull" not in str(said)


def test_only_reading_is_allowed(client: Client) -> None:
    assert client.post("/healthz").status_code == 405
