"""The dispatcher feeds a few rows at a time, and lives through whatever happens."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from django.db import DatabaseError
from kombu.exceptions import OperationalError

from lab.common import clock
from lab.common.models import WorkerHeartbeat, WorkItem
from lab.common.work import dispatcher, enqueue
from lab.common.work.dispatcher import Dispatcher, Window, feed
from lab.common.work.running import run_item

pytestmark = pytest.mark.django_db


@pytest.fixture
def sent(monkeypatch: pytest.MonkeyPatch) -> list[int]:
    """Return the ids that were fed, in place of a broker."""
    fed: list[int] = []
    monkeypatch.setattr(dispatcher, "send", fed.append)
    monkeypatch.setattr(dispatcher, "window", Window())
    return fed


@pytest.fixture
def forty(declare: Callable[..., None]) -> list[int]:
    """Return the ids of forty wanted rows, oldest first."""
    declare("probe.run", lambda _id: None)
    for object_id in range(40):
        enqueue("probe.run", object_id)
    return list(WorkItem.objects.order_by("pk").values_list("pk", flat=True))


def test_sixteen_are_fed_and_no_more_until_they_begin(
    sent: list[int], forty: list[int]
) -> None:
    assert [feed(), feed(), feed()] == [16, 0, 0]
    assert sent == forty[:16]
    for pk in sent[:3]:
        run_item(pk)
        dispatcher.window.begun(pk)
    assert feed() == 3
    assert sent[16:] == forty[16:19]


def test_a_row_that_another_worker_took_makes_room(
    sent: list[int], forty: list[int]
) -> None:
    feed()
    run_item(forty[0])
    assert feed() == 1
    assert sent[-1] == forty[16]


def test_a_message_that_got_lost_is_sent_again(
    sent: list[int], forty: list[int], monkeypatch: pytest.MonkeyPatch
) -> None:
    feed()
    monkeypatch.setattr(Window, "again_after_s", -1.0)
    assert feed() == 16
    assert sent == forty[:16] * 2


def test_what_an_unreachable_queue_did_not_take_is_sent_at_the_next_turn(
    sent: list[int],
    forty: list[int],
    monkeypatch: pytest.MonkeyPatch,
    caplog: pytest.LogCaptureFixture,
) -> None:
    def unreachable(_pk: int) -> None:
        raise OperationalError("connection refused")

    with monkeypatch.context() as away:
        away.setattr(dispatcher, "send", unreachable)
        assert feed() == 0
    assert "connection refused" in caplog.text
    assert feed() == 16


def test_with_redis_only_what_was_overlooked_is_fed(
    sent: list[int], forty: list[int], settings: Any
) -> None:
    settings.REDIS_URL = "redis://localhost:1/0"
    assert feed() == 0
    with clock.set_to(clock.now() + timedelta(seconds=3)):
        assert feed() == 16


def test_a_turn_beats_sweeps_and_feeds(sent: list[int], forty: list[int]) -> None:
    lost = WorkItem.objects.filter(pk=forty[0])
    lost.update(state="running", lease_until=clock.now() - timedelta(hours=1))
    Dispatcher().turn()
    assert WorkerHeartbeat.objects.count() == 1
    assert lost.get().state == "wanted"
    assert sent == forty[1:17]


def test_a_turn_that_fails_is_followed_by_another(
    monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    turns: list[int] = []
    made = Dispatcher()

    def turn() -> None:
        turns.append(1)
        if len(turns) == 3:
            made._stopping.set()
        raise DatabaseError("The database is away.")

    monkeypatch.setattr(made, "turn", turn)
    monkeypatch.setattr(dispatcher, "TICK_S", 0.01)
    monkeypatch.setattr(dispatcher, "window", Window())
    monkeypatch.setattr(dispatcher, "close_old_connections", lambda: None)
    made._loop()
    assert len(turns) == 3
    assert "The database is away." in caplog.text


def test_a_window_is_waited_for_until_all_has_begun() -> None:
    window = Window()
    window.add(1)
    window.begun(1)
    window.wait_until_empty(0.01)
    window.add(2)
    window.wait_until_empty(0.01)
    assert window.ids() == [2]
