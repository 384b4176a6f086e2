"""Sessions of other systems after a failed check: raised as tasks, decided once."""

from __future__ import annotations

from django.db import IntegrityError, transaction

from lab.accounts.models import User
from lab.checks.models import ArtefactCheck
from lab.common import audit
from lab.common.actors import Actor
from lab.common.errors import NotAcceptable, WrongState
from lab.common.services import service
from lab.common.texts import refuse_placeholder
from lab.common.work import enqueue
from lab.lapses.models import SuspicionTask, TaskDecision
from lab.lapses.suspicions import related_sessions


@service
def raise_tasks(*, check: ArtefactCheck, acting_user: Actor) -> list[SuspicionTask]:
    """Ask about every session of another system that a failed check may bear on.

    Once for each; asking again changes nothing, and what was asked stays when the
    check is voided later.
    """
    made = []
    for related in related_sessions(check):
        task, is_new = SuspicionTask.objects.get_or_create(
            artefact_check=check,
            session=related.session,
            defaults={"shared": related.shared[:200]},
        )
        if is_new:
            made.append(task)
            audit.record(
                "suspicion.asked",
                task,
                actor=acting_user,
                after={"check": check.pk, "shared": related.shared},
            )
    if not made:
        audit.nothing_changed()
    return made


@service(may="suspicions.decide")
def decide_task(
    *, task: SuspicionTask, outcome: str, reason: str, acting_user: User
) -> TaskDecision:
    """Say whether a session is affected by another system's failed check.

    An affected one becomes suspect and its job is held.

    Raises
    ------
    NotAcceptable
        If the outcome is none, or the reason is missing.
    WrongState
        If it is decided already.
    """
    if outcome not in TaskDecision.Outcome:
        raise NotAcceptable(f"“{outcome}” is no outcome.", field="outcome")
    text = refuse_placeholder(reason, "reason")
    try:
        with transaction.atomic():
            made = TaskDecision.objects.create(
                task=task, outcome=outcome, reason=text, decided_by=acting_user
            )
    except IntegrityError:
        raise WrongState("This is decided already.") from None
    audit.record(
        "suspicion.decided",
        task,
        actor=acting_user,
        reason=text,
        after={"outcome": outcome},
    )
    enqueue("lapses.judge_session", task.session_id)
    return made
