"""Wanting, claiming, finishing and giving back: each step by itself."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime, timedelta
from typing import Any

import pytest
from django.db import connection, transaction
from django.test import TestCase

from lab.celery import MessageWithoutWorker, app
from lab.common import audit, clock
from lab.common.actors import PROGRAM
from lab.common.errors import NotAcceptable, NotAllowed, WrongState
from lab.common.models import AuditEntry, WorkItem
from lab.common.work import TryLater, enqueue
from lab.common.work.kinds import UnknownKind
from lab.common.work.queue import (
    EnqueuedOutsideTransaction,
    back_off,
    claim,
    finish,
    give_back_all_running,
    give_back_expired,
    send,
)
from lab.common.work.running import run_item, work_off
from lab.common.work.services import retry_work

pytestmark = pytest.mark.django_db
Declare = Callable[..., None]


class Diary:
    """Remembers what was run, and does as it is told before."""

    def __init__(self, *effects: Callable[[], Any]) -> None:
        self.ran: list[int] = []
        self.effects = list(effects)

    def __call__(self, object_id: int) -> None:
        self.ran.append(object_id)
        if self.effects:
            self.effects.pop(0)()


def raising(error: Exception) -> Callable[[], None]:
    def effect() -> None:
        raise error

    return effect


def item(**about: Any) -> WorkItem:
    return WorkItem.objects.get(**about)


def test_wanting_twice_makes_one_row(declare: Declare) -> None:
    diary = Diary()
    declare("probe.run", diary)
    enqueue("probe.run", 7)
    enqueue("probe.run", 7)
    enqueue("probe.run", 8)
    assert work_off() == 2
    assert sorted(diary.ran) == [7, 8]
    assert work_off() == 0


def test_an_event_during_a_run_is_not_lost(declare: Declare) -> None:
    diary = Diary(lambda: enqueue("probe.run", 7))
    declare("probe.run", diary)
    enqueue("probe.run", 7)
    assert work_off() == 2
    assert diary.ran == [7, 7]


def test_what_is_done_can_be_wanted_again(declare: Declare) -> None:
    diary = Diary()
    declare("probe.run", diary)
    for _ in range(2):
        enqueue("probe.run", 7)
        work_off()
    assert diary.ran == [7, 7]


def test_the_wish_falls_with_the_callers_transaction(declare: Declare) -> None:
    declare("probe.run", Diary())
    with transaction.atomic():
        enqueue("probe.run", 7)
        transaction.set_rollback(True)
    assert not WorkItem.objects.exists()


@pytest.mark.django_db(transaction=True)
def test_a_wish_needs_a_transaction(declare: Declare) -> None:
    declare("probe.run", Diary())
    with pytest.raises(EnqueuedOutsideTransaction, match=r"probe\.run"):
        enqueue("probe.run", 7)


def test_an_undeclared_kind_is_refused() -> None:
    with pytest.raises(UnknownKind, match=r"probe\.mistyped"):
        enqueue("probe.mistyped", 1)


def test_a_row_is_claimed_once(declare: Declare) -> None:
    declare("probe.run", Diary())
    enqueue("probe.run", 7)
    pk = item(object_id=7).pk
    claimed = claim(pk)
    assert claimed is not None
    assert claim(pk) is None
    row = item(pk=pk)
    assert (row.state, row.attempts, row.token) == ("running", 1, claimed.token)
    lease = row.lease_until - clock.now()
    assert timedelta(seconds=80) < lease < timedelta(seconds=100)


def test_two_rows_about_one_object_never_run_at_once(declare: Declare) -> None:
    declare("probe.run", Diary())
    enqueue("probe.run", 7)
    first = claim(item(object_id=7).pk)
    enqueue("probe.run", 7)
    second = item(state="wanted")
    assert claim(second.pk) is None
    assert first is not None
    assert finish(first)
    assert claim(second.pk) is not None


def test_a_row_whose_time_has_not_come_is_left(declare: Declare) -> None:
    diary = Diary()
    declare("probe.run", diary)
    enqueue("probe.run", 7)
    WorkItem.objects.update(not_before=clock.now() + timedelta(minutes=1))
    assert work_off() == 0
    with clock.set_to(clock.now() + timedelta(minutes=2)):
        assert work_off() == 1


def test_a_failure_waits_longer_each_time_and_is_kept(
    declare: Declare, noon: datetime
) -> None:
    diary = Diary(*[raising(ValueError("Boom."))] * 3)
    declare("probe.run", diary, tries=3)
    with clock.set_to(noon):
        enqueue("probe.run", 7)
        assert work_off() == 1
        row = item(object_id=7)
        assert (row.state, row.error) == ("wanted", "ValueError: Boom.")
        assert row.not_before == noon + timedelta(seconds=5)
        assert work_off() == 0
    with clock.set_to(noon + timedelta(seconds=5)):
        assert work_off() == 1
        assert item(object_id=7).not_before == noon + timedelta(seconds=25)
    with clock.set_to(noon + timedelta(seconds=25)):
        assert work_off() == 1
    row = item(object_id=7)
    assert (row.state, row.attempts, row.error) == ("failed", 3, "ValueError: Boom.")
    with clock.set_to(noon + timedelta(days=1)):
        assert work_off() == 0


def test_the_wait_grows_to_an_hour() -> None:
    waits = [back_off(n).total_seconds() for n in range(1, 8)]
    assert waits == [5, 20, 80, 320, 1280, 3600, 3600]


def test_a_refusal_is_kept_in_its_own_words(declare: Declare) -> None:
    refusal = NotAcceptable("Line 3 has no temperature.")
    declare("probe.run", Diary(raising(refusal)), tries=1)
    enqueue("probe.run", 7)
    work_off()
    assert item(object_id=7).error == "Line 3 has no temperature."


def test_a_failure_with_a_later_wish_leaves_the_work_to_it(declare: Declare) -> None:
    def meanwhile() -> None:
        enqueue("probe.run", 7)
        raise ValueError("Boom.")

    diary = Diary(meanwhile)
    declare("probe.run", diary)
    enqueue("probe.run", 7)
    first = item(object_id=7)
    run_item(first.pk)
    first.refresh_from_db()
    assert first.state == "done"
    assert first.error == "Left to a later row: ValueError: Boom."
    assert work_off() == 1
    assert diary.ran == [7, 7]


def test_success_settles_earlier_failures_of_the_same(declare: Declare) -> None:
    declare("probe.run", Diary(raising(ValueError("Boom."))), tries=1)
    for _ in range(2):
        enqueue("probe.run", 7)
        work_off()
    states = WorkItem.objects.values_list("state", flat=True)
    assert set(states) == {"done"}


def test_a_lease_that_is_over_is_taken_back(declare: Declare) -> None:
    declare("probe.run", Diary())
    enqueue("probe.run", 7)
    lost = claim(item(object_id=7).pk)
    assert give_back_expired() == 0
    an_hour_ago = clock.now() - timedelta(hours=1)
    WorkItem.objects.update(lease_until=an_hour_ago)
    assert give_back_expired() == 1
    row = item(object_id=7)
    assert (row.state, row.attempts, row.error) == ("wanted", 1, "Interrupted.")
    assert lost is not None
    assert not finish(lost), "The worker that was given up on must not finish it."
    with clock.set_to(clock.now() + timedelta(seconds=2)):
        assert work_off() == 1
    assert item(object_id=7).state == "done"


def test_work_that_kills_its_worker_is_given_up(declare: Declare) -> None:
    declare("probe.run", Diary(), tries=3)
    enqueue("probe.run", 7)
    pk = item(object_id=7).pk
    for died in range(1, 4):
        with clock.set_to(clock.now() + timedelta(hours=died)):
            assert claim(pk) is not None
            assert give_back_all_running() == 1
    row = item(object_id=7)
    assert (row.state, row.attempts) == ("failed", 3)
    assert "Interrupted 3 times" in row.error


def test_interrupted_mail_waits_for_a_persons_word(declare: Declare) -> None:
    declare("probe.mail", Diary(), sends_mail=True, tries=5)
    enqueue("probe.mail", 7)
    claim(item(object_id=7).pk)
    give_back_all_running()
    row = item(object_id=7)
    assert row.state == "failed"
    assert "may have been sent" in row.error


def test_failed_mail_is_not_sent_again_unless_nothing_was_sent(
    declare: Declare,
) -> None:
    no_server = TryLater("The mail server did not answer.")
    diary = Diary(raising(no_server), raising(ValueError("Half a letter.")))
    declare("probe.mail", diary, sends_mail=True, tries=5)
    enqueue("probe.mail", 7)
    work_off()
    assert item(object_id=7).state == "wanted"
    with clock.set_to(clock.now() + timedelta(minutes=1)):
        work_off()
    assert item(object_id=7).state == "failed"
    assert diary.ran == [7, 7]


def test_a_row_of_a_kind_that_is_gone_fails_in_words() -> None:
    row = WorkItem.objects.create(kind="probe.retired", object_id=1)
    assert not run_item(row.pk)
    row.refresh_from_db()
    assert row.state == "failed"
    assert "probe.retired" in row.error


def test_work_that_makes_work_for_ever_is_noticed(declare: Declare) -> None:
    declare("probe.run", lambda object_id: enqueue("probe.run", object_id + 1))
    enqueue("probe.run", 1)
    with pytest.raises(RuntimeError, match="after 20 rows"):
        work_off(limit=20)


# --- A person's word ----------------------------------------------------------------


def failed(declare: Declare) -> WorkItem:
    declare("probe.run", Diary(raising(ValueError("Boom."))), tries=1)
    enqueue("probe.run", 7)
    work_off()
    return item(object_id=7)


def test_failed_work_is_tried_again_on_a_persons_word(
    declare: Declare, people: Any
) -> None:
    row = failed(declare)
    retry_work(item=row, acting_user=people.quality)
    row.refresh_from_db()
    assert (row.state, row.attempts) == ("wanted", 0)
    entry = AuditEntry.objects.get(verb="work.retried")
    assert entry.actor_id == people.quality.pk
    assert "ValueError: Boom." in entry.values_text
    assert work_off() == 1
    assert item(pk=row.pk).state == "done"


def test_only_failed_work_is_tried_again(declare: Declare) -> None:
    row = failed(declare)
    retry_work(item=row, acting_user=PROGRAM)
    with pytest.raises(WrongState, match="Only work that failed"):
        retry_work(item=row, acting_user=PROGRAM)


def test_work_that_is_wanted_already_is_not_wanted_twice(declare: Declare) -> None:
    row = failed(declare)
    enqueue("probe.run", 7)
    with pytest.raises(WrongState, match="wanted already"):
        retry_work(item=row, acting_user=PROGRAM)
    assert item(pk=row.pk).state == "failed"


def test_a_technician_may_not_retry(declare: Declare, people: Any) -> None:
    row = failed(declare)
    with pytest.raises(NotAllowed):
        retry_work(item=row, acting_user=people.technician)
    assert item(pk=row.pk).state == "failed"


# --- Messages -----------------------------------------------------------------------


def test_a_message_that_nobody_would_hear_is_refused() -> None:
    from lab.common.tasks import run_work

    with pytest.raises(MessageWithoutWorker, match="enqueue"):
        run_work.delay(1)
    with pytest.raises(MessageWithoutWorker):
        send(1)


def test_with_redis_a_row_is_announced_at_its_commit(
    declare: Declare, settings: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    settings.REDIS_URL = "redis://localhost:1/0"
    sent: list[list[int]] = []
    monkeypatch.setattr(app, "send_task", lambda name, args, **_: sent.append(args))
    declare("probe.run", Diary())
    with TestCase.captureOnCommitCallbacks(execute=True):
        enqueue("probe.run", 7)
        assert sent == []
    assert sent == [[item(object_id=7).pk]]


def test_an_announcement_that_fails_is_logged_and_harms_nothing(
    declare: Declare,
    settings: Any,
    monkeypatch: pytest.MonkeyPatch,
    caplog: pytest.LogCaptureFixture,
) -> None:
    def unreachable(*_args: Any, **_options: Any) -> None:
        raise ConnectionRefusedError

    settings.REDIS_URL = "redis://localhost:1/0"
    monkeypatch.setattr(app, "send_task", unreachable)
    declare("probe.run", Diary())
    with TestCase.captureOnCommitCallbacks(execute=True):
        enqueue("probe.run", 7)
    assert "was not announced" in caplog.text
    assert work_off() == 1


@pytest.mark.django_db(transaction=True)
@pytest.mark.postgres
def test_a_wish_on_a_waiting_row_is_not_lost_to_its_claim(
    declare: Declare, on_postgres: None, in_threads: Callable[..., Any]
) -> None:
    """A claim waits for whoever is just wanting the same, or it would run too early."""
    import threading

    seen: list[int] = []
    declare("probe.run", lambda _id: seen.append(AuditEntry.objects.count()))
    with transaction.atomic():
        enqueue("probe.run", 7)
    pk = item(object_id=7).pk
    wished = threading.Event()

    def change() -> None:
        with transaction.atomic():
            enqueue("probe.run", 7)
            audit.record("probe.changed", WorkItem(pk=1), actor=PROGRAM)
            wished.set()
            with connection.cursor() as cursor:
                cursor.execute("SELECT pg_sleep(0.5)")

    def run() -> None:
        wished.wait()
        run_item(pk)

    assert in_threads([change, run]) == []
    assert seen == [1]
