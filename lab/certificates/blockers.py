"""What keeps a draft from being approved or issued, beside missing content."""

from __future__ import annotations

from collections.abc import Sequence

from lab.certificates.models import Certificate, Draft
from lab.certificates.selectors import certificates_in_use
from lab.inspections.selectors import undecided_results
from lab.jobs.models import Job, MeasuringSession
from lab.jobs.selectors import (
    agreement_in_force,
    agreement_is_outdated,
    open_holds,
)
from lab.lapses.models import Judgement
from lab.lapses.selectors import undecided_suspicions
from lab.metrology.bracketing import State

ENDED = MeasuringSession.State.ENDED


def blockers(draft: Draft, sessions: Sequence[MeasuringSession]) -> list[str]:
    """Return every reason, in sentences; the sessions are judged as they stand."""
    job = draft.job
    return [
        *_of_agreement(job),
        *(f"On hold: {hold.title}. Clear it first." for hold in open_holds(job)),
        *(sentence for one in sessions if (sentence := _of_session(one))),
        *undecided_suspicions(sessions),
        *_of_other_certificates(draft),
    ]


def sessions_of_job(job: Job) -> list[MeasuringSession]:
    """Return all sessions of a job; each bears on whether it may be certified."""
    rows = job.sessions.select_related("system", "job", "room__site")
    return list(rows.order_by("pk"))


def _of_agreement(job: Job) -> list[str]:
    agreement = agreement_in_force(job)
    if agreement is None:
        return ["Nothing is agreed. Record the contract review."]
    if agreement_is_outdated(job, agreement):
        return ["The drawing was recorded anew since it was agreed. Agree anew."]
    if undecided_results(job, agreement):
        return ["Results were decided under an earlier review. Decide them anew."]
    return []


def _of_session(session: MeasuringSession) -> str:
    if session.state != ENDED:
        return f"Session {session.pk} has not ended."
    judgement = Judgement.objects.filter(session=session).first()
    if judgement is None:
        return f"Session {session.pk} has not been judged yet."
    if judgement.state == State.OPEN:
        return (
            f"Session {session.pk} still waits for the check that closes it. Do that "
            "check first."
        )
    return ""


def _of_other_certificates(draft: Draft) -> list[str]:
    """Say which items are certified already, unless this draft changes that."""
    if draft.amends_id:
        old = [draft.amends]
        verb = "amend"
    elif draft.replaces_id:
        old = [draft.replaces]
        verb = "replace"
    else:
        rows = certificates_in_use(draft.job).filter(
            certified_items__item__in=draft.items.all()
        )
        return [
            f"{one.number} certifies one of these items already. Amend or replace it."
            for one in rows.distinct()
        ]
    return [_cannot(one, verb) for one in old if one and _cannot(one, verb)]


def _cannot(old: Certificate, verb: str) -> str:
    if hasattr(old, "replacement"):
        return f"{old.number} is replaced already; {verb} what replaced it."
    if verb == "amend" and hasattr(old, "withdrawal"):
        return f"{old.number} is withdrawn. Replace it."
    return ""
