"""Letting work go on, and closing a case with all that it touched."""

from __future__ import annotations

from typing import Any

from django.db import IntegrityError, transaction

from lab.accounts.identity import ConfirmedIdentity, require_identity
from lab.accounts.models import User
from lab.common import audit, clock
from lab.common.errors import WrongState
from lab.common.jsontext import canonical_text, sha256_hex
from lab.common.services import service
from lab.common.texts import refuse_placeholder
from lab.evidence.guards import (
    CaseClosed,
    NotClosable,
    lock_open,
    require_decider,
    require_impartial,
)
from lab.evidence.models import Case, Closure, Resumption
from lab.evidence.outstanding import Dossier, dossier_of


@service
def let_resume(*, case: Case, reason: str, acting_user: User) -> Resumption:
    """Let the work go on. Holds are cleared one by one beside it, each with a reason.

    Raises
    ------
    NotAllowed, NotAcceptable
    WrongState
        If somebody has done so already, or the case is closed.
    """
    require_decider(acting_user)
    text = refuse_placeholder(reason, "reason")
    locked = lock_open(case)
    try:
        with transaction.atomic():
            made = Resumption.objects.create(
                case=locked, reason=text, resumed_by=acting_user
            )
    except IntegrityError:
        raise WrongState("The work may go on already.") from None
    audit.record("case.work_resumed", locked, actor=acting_user, reason=text)
    return made


@service
def close_case(
    *,
    case: Case,
    words: str,
    identity: ConfirmedIdentity | None,
    acting_user: User,
) -> Closure:
    """Close a case for good; of two who close it, one wins.

    Raises
    ------
    NotAllowed
        If the person did not just confirm who they are, neither is the quality
        manager nor stands in, or is a party to the case.
    NotClosable
        If anything is undone; the first is named.
    CaseClosed
        If it is closed already.
    """
    require_identity(identity, acting_user)
    require_decider(acting_user)
    text = refuse_placeholder(words, "words")
    locked = lock_open(case)
    dossier = dossier_of(locked)
    require_impartial(acting_user, locked, dossier.touched)
    first, *more = dossier.outstanding() or [""]
    if first:
        raise NotClosable(first + (f" And {len(more)} more." if more else ""))
    rows = Case.objects.filter(pk=locked.pk, state=Case.State.OPEN)
    if rows.update(state=Case.State.CLOSED) != 1:
        raise CaseClosed(f"Case {locked.pk} is closed already.")
    content = canonical_text(_snapshot(dossier))
    made = Closure.objects.create(
        case=locked,
        words=text,
        snapshot_text=content,
        snapshot_sha256=sha256_hex(content),
        closed_by=acting_user,
    )
    audit.record(
        "case.closed",
        locked,
        actor=acting_user,
        reason=text,
        after={"sha256": made.snapshot_sha256},
    )
    return made


def _snapshot(dossier: Dossier) -> dict[str, Any]:
    """Return what the case touched and what was decided, as it stood at closing."""
    touched, window = dossier.touched, dossier.touched.window
    return {
        "schema": 1,
        "case": dossier.case.pk,
        "title": dossier.case.title,
        "closed_at": clock.now(),
        "since": window.since if window else None,
        "until": window.until if window else None,
        "sessions": [session.pk for session in touched.sessions],
        "jobs": [job.number for job in touched.jobs],
        "certificates": {
            one.certificate.number: {
                "outcome": one.outcome,
                "justification": one.justification,
            }
            for one in dossier.standing_decisions.values()
        },
        "tasks": {
            str(task.session_id): task.decision.outcome for task in touched.tasks
        },
        "told": sorted(
            (one.customer.name, one.way, one.at) for one in dossier.tellings
        ),
        "actions": [
            {"what": one.what, "helped": one.effect.helped} for one in dossier.actions
        ],
    }
