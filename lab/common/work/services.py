"""What a person may do about work: have a failed piece tried again."""

from __future__ import annotations

from django.db import IntegrityError, transaction

from lab.common import audit, clock
from lab.common.actors import Actor
from lab.common.errors import WrongState
from lab.common.services import service
from lab.common.work.models import WorkItem


@service(may="work.retry")
def retry_work(*, item: WorkItem, acting_user: Actor) -> None:
    """Want a failed row again, with all its tries before it.

    Raises
    ------
    WrongState
        If the row has not failed (any more), or the same work is wanted already.
    """
    failed = WorkItem.objects.filter(pk=item.pk, state=WorkItem.State.FAILED)
    try:
        with transaction.atomic():
            wanted = failed.update(
                state=WorkItem.State.WANTED,
                attempts=0,
                token="",
                not_before=clock.now(),
                finished_at=None,
            )
    except IntegrityError:
        raise WrongState(
            "The same work is wanted already. See how that goes first."
        ) from None
    if wanted != 1:
        raise WrongState("Only work that failed can be tried again.")
    audit.record(
        "work.retried",
        item,
        actor=acting_user,
        before={"state": WorkItem.State.FAILED, "error": item.error},
        after={"state": WorkItem.State.WANTED},
    )
