"""What is decided in a case: its window, its significance, each certificate."""

from __future__ import annotations

from datetime import datetime

from django.db import IntegrityError, transaction

from lab.accounts.models import User
from lab.certificates.models import Certificate
from lab.common import audit
from lab.common.errors import NotAcceptable, WrongState
from lab.common.services import service
from lab.common.texts import refuse_placeholder
from lab.evidence.guards import lock_open, require_decider
from lab.evidence.models import Assessment, Case, CaseDecision, CaseWindow
from lab.evidence.reach import touched_by
from lab.lapses.models import LaterFinding
from lab.lapses.services import record_later_finding


@service
def move_window(
    *, case: Case, since: datetime, reason: str, acting_user: User
) -> CaseWindow:
    """Move the start of the time in question, back or forward, with a reason.

    Moved back, what the system or the device measured in the added time becomes
    suspect as well, and its jobs are held. Moved forward, no finding or hold is
    taken back: each is cleared by a person.

    Raises
    ------
    NotAllowed
        If the person neither is the quality manager nor stands in.
    NotAcceptable
        Without a reason, or if the start lies after the end or where it is already.
    WrongState
        If the case has no window, or is closed.
    """
    require_decider(acting_user)
    text = refuse_placeholder(reason, "reason")
    before = case.windows.order_by("-pk").first()
    if before is None:
        raise WrongState("This case is about named jobs; it has no window to move.")
    if since >= before.until:
        raise NotAcceptable("The window would end before it begins.", field="since")
    if since == before.since:
        raise NotAcceptable("It begins there already.", field="since")
    # The system's lock comes before the case's (DEVELOPERS.md, "Locks").
    added = _suspect_as_well(case, before, since, text, acting_user)
    locked = lock_open(case)
    made = CaseWindow.objects.create(
        case=locked,
        since=since,
        until=before.until,
        reason=text,
        later_finding=added,
        set_by=acting_user,
    )
    audit.record(
        "case.window_moved",
        locked,
        actor=acting_user,
        reason=text,
        before={"since": before.since},
        after={"since": since},
    )
    return made


def _suspect_as_well(
    case: Case, before: CaseWindow, since: datetime, reason: str, person: User
) -> LaterFinding | None:
    about = {"system": case.system} if case.system else {"device": case.device}
    if before.since is None or since > before.since or not any(about.values()):
        return None
    return record_later_finding(
        kind=LaterFinding.Kind.WIDENED,
        since=since,
        until=before.since,
        reason=f"Case {case.pk}: {reason}",
        acting_user=person,
        **about,
    )


@service
def assess(
    *, case: Case, significance: str, reason: str, may_recur: bool, acting_user: User
) -> Assessment:
    """Say how significant the work is, earlier results included; the newest counts.

    Raises
    ------
    NotAllowed, NotAcceptable, CaseClosed
    """
    require_decider(acting_user)
    if significance not in Assessment.Significance:
        raise NotAcceptable("Choose how significant it is.", field="significance")
    text = refuse_placeholder(reason, "reason")
    locked = lock_open(case)
    made = Assessment.objects.create(
        case=locked,
        significance=significance,
        reason=text,
        may_recur=may_recur,
        assessed_by=acting_user,
    )
    audit.record(
        "case.assessed",
        locked,
        actor=acting_user,
        reason=text,
        after={"significance": significance, "may_recur": may_recur},
    )
    return made


@service
def decide_certificate(
    *,
    case: Case,
    certificate: Certificate,
    outcome: str,
    justification: str,
    supersedes: CaseDecision | None = None,
    acting_user: User,
) -> CaseDecision:
    """Decide what becomes of a certificate; a changed mind is a row that supersedes.

    Raises
    ------
    NotAllowed
        If the person neither is the quality manager nor stands in.
    NotAcceptable
        If the case does not touch the certificate, the outcome is none, or the
        justification is missing.
    WrongState
        If somebody has decided it meanwhile, or the case is closed.
    """
    require_decider(acting_user)
    if outcome not in CaseDecision.Outcome:
        raise NotAcceptable(f"“{outcome}” is no decision.", field="outcome")
    text = refuse_placeholder(justification, "justification")
    locked = lock_open(case)
    if certificate not in touched_by(locked).certificates:
        raise NotAcceptable(f"The case does not touch {certificate.number}.")
    try:
        with transaction.atomic():
            made = CaseDecision.objects.create(
                case=locked,
                certificate=certificate,
                outcome=outcome,
                justification=text,
                supersedes=supersedes,
                decided_by=acting_user,
            )
    except IntegrityError:
        raise WrongState(
            f"{certificate.number} is decided meanwhile. Load the page again."
        ) from None
    audit.record(
        "case.decided",
        locked,
        actor=acting_user,
        reason=text,
        before={"outcome": supersedes.outcome} if supersedes else {},
        after={"certificate": certificate.number, "outcome": outcome},
    )
    return made
