"""Running one row, and running whatever is wanted without a worker."""

from __future__ import annotations

import logging

from django.db import close_old_connections

from lab.common.errors import DomainError
from lab.common.work.kinds import Kind, TryLater, kind_named
from lab.common.work.models import WorkItem
from lab.common.work.queue import claim, fail_or_retry, finish, ready_items

logger = logging.getLogger(__name__)


def run_item(pk: int) -> bool:
    """Claim a row and run its work; tell whether the row was ours to run.

    Whatever the work raises is kept with the row and logged, never raised on: a
    failing piece of work must not take its worker along.
    """
    item = claim(pk)
    if item is None:
        return False
    kind = kind_named(item.kind)
    try:
        _run(kind, item)
    except TryLater as refusal:
        fail_or_retry(item, kind, refusal.sentence, may_retry=True)
    except DomainError as refusal:
        logger.warning("Work %s: %s", item, refusal.sentence)
        _fail_or_retry(item, kind, refusal.sentence)
    except Exception as error:
        logger.exception("Work %s failed.", item)
        _fail_or_retry(item, kind, f"{type(error).__name__}: {error}")
    else:
        if not finish(item):
            logger.warning("Work %s took longer than its lease.", item)
    return True


def run_item_and_close(pk: int) -> None:
    """Run a row in a worker's thread, with no connection that has gone stale."""
    close_old_connections()
    try:
        run_item(pk)
    finally:
        close_old_connections()


def work_off(limit: int = 10_000) -> int:
    """Run, here and now, all that is wanted; return how many rows were run.

    For tests and for filling a demo. Failed rows wait their turn and are not
    run again at once.

    Raises
    ------
    RuntimeError
        If the work keeps asking for more work beyond ``limit`` rows.
    """
    done = 0
    while pks := list(ready_items().values_list("pk", flat=True)[:100]):
        done += sum(run_item(pk) for pk in pks)
        if done > limit:
            raise RuntimeError(f"Still work to do after {limit} rows.")
    return done


def _run(kind: Kind, item: WorkItem) -> None:
    if kind.every is not None:
        kind.run()
    else:
        kind.run(item.object_id)


def _fail_or_retry(item: WorkItem, kind: Kind, error: str) -> None:
    fail_or_retry(item, kind, error, may_retry=not kind.sends_mail)
