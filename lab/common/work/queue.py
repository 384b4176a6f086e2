"""The rows as a queue: wanting, claiming, finishing, and giving back.

Every step is one conditional UPDATE, so that of any number of workers one wins.
Leases are reckoned by the database's own clock: workers on several machines share
it, and their clocks may differ.
"""

from __future__ import annotations

import logging
import secrets
from datetime import timedelta
from functools import partial

from django.conf import settings
from django.db import IntegrityError, connection, transaction
from django.db.models import Exists, F, OuterRef, QuerySet
from django.db.models.functions import Now
from kombu.exceptions import OperationalError

from lab.celery import app
from lab.common import clock
from lab.common.work.kinds import Kind, UnknownKind, kind_named
from lab.common.work.models import WorkItem

logger = logging.getLogger(__name__)

RUN_WORK = "lab.run_work"
#: What a send raises when the broker is not to be reached.
UNREACHABLE = (OSError, OperationalError)
ERROR_LENGTH = 2000
LONGEST_WAIT = timedelta(hours=1)
State = WorkItem.State


class EnqueuedOutsideTransaction(RuntimeError):
    """Work was asked for outside the transaction of the change that it is about."""


# --- Wanting ------------------------------------------------------------------------


def enqueue(kind: str, object_id: int) -> None:
    """Say, in the caller's transaction, that a piece of work is wanted.

    While a row for the same kind and object is wanted, this changes nothing. One
    that is already running doesn't count: it may have read what is now outdated.

    Raises
    ------
    UnknownKind
        If no app declares the kind.
    EnqueuedOutsideTransaction
        If there is no transaction to fall with.
    """
    kind_named(kind)
    if not connection.in_atomic_block:
        raise EnqueuedOutsideTransaction(
            f"Enqueue {kind} inside the transaction of the change that it is about."
        )
    wanted = WorkItem.objects.filter(
        kind=kind, object_id=object_id, period="", state=State.WANTED
    )
    touched = 0
    while not touched:
        WorkItem.objects.bulk_create(
            [WorkItem(kind=kind, object_id=object_id)], ignore_conflicts=True
        )
        # The touch holds the row until the caller commits. Without it a worker could
        # claim a row that was there before, read the state of before, and be done.
        touched = wanted.update(wanted_at=F("wanted_at"))
    if settings.REDIS_URL:
        transaction.on_commit(partial(_nudge, wanted))


def send(pk: int) -> None:
    """Tell some worker of a row. Told twice, it is still done once."""
    app.send_task(RUN_WORK, args=[pk], ignore_result=True)


def _nudge(wanted: QuerySet[WorkItem]) -> None:
    for pk in wanted.values_list("pk", flat=True):
        try:
            send(pk)
        except UNREACHABLE:
            logger.warning("Work %s was not announced; the sweep will find it.", pk)


# --- Claiming -----------------------------------------------------------------------


def ready_items() -> QuerySet[WorkItem]:
    """Return the rows that may be claimed now, those that waited longest first.

    A row waits while another about the same object is running: two runs at once
    would race for the same result.
    """
    same_running = WorkItem.objects.filter(
        kind=OuterRef("kind"), object_id=OuterRef("object_id"), state=State.RUNNING
    )
    return WorkItem.objects.filter(
        ~Exists(same_running), state=State.WANTED, not_before__lte=clock.now()
    ).order_by("not_before", "pk")


def claim(pk: int) -> WorkItem | None:
    """Take a wanted row under a lease, or return None if it is not to be had.

    A row whose kind no app declares (any more) is marked as failed.
    """
    item = WorkItem.objects.filter(pk=pk, state=State.WANTED).first()
    if item is None:
        return None
    try:
        limit = timedelta(seconds=kind_named(item.kind).limit_s)
    except UnknownKind as unknown:
        _fail(WorkItem.objects.filter(pk=pk, state=State.WANTED), str(unknown))
        return None
    item.token = secrets.token_hex(16)
    claimed = (
        ready_items()
        .order_by()
        .filter(pk=pk)
        .update(
            state=State.RUNNING,
            token=item.token,
            attempts=F("attempts") + 1,
            lease_until=Now() + limit + settings.WORK_LEASE_MARGIN,
        )
    )
    item.attempts += 1
    return item if claimed == 1 else None


# --- After the run -------------------------------------------------------------------


def finish(item: WorkItem) -> bool:
    """Mark a claimed row as done, unless its lease was lost to another worker.

    What failed earlier about the same object, or in an earlier period, is settled
    by this success and no longer asks for anybody's attention.
    """
    with transaction.atomic():
        finished = _claimed(item).update(
            state=State.DONE, finished_at=clock.now(), lease_until=None, error=""
        )
        if finished == 1:
            WorkItem.objects.filter(
                kind=item.kind, object_id=item.object_id, state=State.FAILED
            ).update(state=State.DONE, finished_at=clock.now())
    return finished == 1


def fail_or_retry(item: WorkItem, kind: Kind, error: str, *, may_retry: bool) -> None:
    """Give a row back after a failed run, or mark it as failed for good."""
    if may_retry and item.attempts < kind.tries:
        _want_again(_claimed(item), error, wait=back_off(item.attempts))
    else:
        _fail(_claimed(item), error)


def back_off(attempts: int) -> timedelta:
    """Return how long to wait after a run that failed: 5 s, 20 s, 80 s, … an hour."""
    return min(timedelta(seconds=5 * 4 ** (attempts - 1)), LONGEST_WAIT)


# --- Runs that ended without a word -------------------------------------------------


def give_back_expired() -> int:
    """Take back rows whose lease is over; return how many."""
    return _give_back(WorkItem.objects.filter(lease_until__lt=Now()))


def give_back_all_running() -> int:
    """Take back every running row, where no other worker can be alive."""
    return _give_back(WorkItem.objects.all())


def _give_back(items: QuerySet[WorkItem]) -> int:
    found = list(items.filter(state=State.RUNNING))
    for item in found:
        _give_back_one(item)
    return len(found)


def _give_back_one(item: WorkItem) -> None:
    """Let an interrupted row be claimed again soon, if it may be begun again.

    The wait grows with each interruption: work that kills its worker must not
    keep the others from their turn.
    """
    try:
        kind = kind_named(item.kind)
    except UnknownKind as unknown:
        _fail(_claimed(item), str(unknown))
        return
    if kind.sends_mail:
        _fail(
            _claimed(item), "Interrupted: it may have been sent. Look before you retry."
        )
    elif item.attempts >= kind.tries:
        _fail(_claimed(item), f"Interrupted {item.attempts} times or out of time.")
    else:
        wait = min(timedelta(seconds=2 ** (item.attempts - 1)), LONGEST_WAIT)
        _want_again(_claimed(item), "Interrupted.", wait=wait)


def _claimed(item: WorkItem) -> QuerySet[WorkItem]:
    return WorkItem.objects.filter(pk=item.pk, token=item.token, state=State.RUNNING)


def _want_again(items: QuerySet[WorkItem], error: str, *, wait: timedelta) -> None:
    try:
        with transaction.atomic():
            items.update(
                state=State.WANTED,
                token="",
                lease_until=None,
                not_before=clock.now() + wait,
                error=error[:ERROR_LENGTH],
            )
    except IntegrityError:
        # A later event has made a row of its own about the same object: that one
        # does the work, and this one would be a second of the same.
        items.update(
            state=State.DONE,
            finished_at=clock.now(),
            lease_until=None,
            error=f"Left to a later row: {error}"[:ERROR_LENGTH],
        )


def _fail(items: QuerySet[WorkItem], error: str) -> None:
    items.update(
        state=State.FAILED,
        finished_at=clock.now(),
        lease_until=None,
        error=error[:ERROR_LENGTH],
    )
