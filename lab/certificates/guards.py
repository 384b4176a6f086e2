"""What approval and issue ask of a draft, in one transaction with nothing between."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Final

from lab.accounts.models import User
from lab.certificates.blockers import blockers, sessions_of_job
from lab.certificates.models import Draft
from lab.certificates.pdf import unprintable
from lab.certificates.requirements import unmet
from lab.certificates.selectors import people_who_worked_on
from lab.certificates.snapshot import content_sha256
from lab.checks.locks import lock_systems
from lab.common import clock
from lab.common.actors import PROGRAM
from lab.common.errors import NotAllowed, WrongState
from lab.common.jsontext import canonical_text
from lab.jobs.models import Job, MeasuringSession
from lab.jobs.selectors import agreement_in_force
from lab.jobs.states import lock_job
from lab.laboratory.models import Activity
from lab.laboratory.selectors import is_authorised
from lab.lapses.services import judge_sessions_now

CHANGED_SINCE_REVIEW: Final = (
    "What it would print has changed since it was reviewed: a record behind it was "
    "added or corrected. Send it back, and let it be reviewed anew."
)


class NotIssuable(WrongState):
    """Something stands against issue, or the content lacks what it must say."""


def lock_chain(draft: Draft) -> tuple[Job, Draft, list[MeasuringSession]]:
    """Lock systems, job and draft in this order, and judge the job's sessions now.

    Until the caller's transaction ends, no check, break or finding of these systems
    can be recorded: what is judged here is what is issued.

    Raises
    ------
    WrongState
        If the job began to be measured with another system meanwhile.
    """
    systems = {session.system for session in sessions_of_job(draft.job)}
    lock_systems(systems)
    job = lock_job(draft.job)
    locked = Draft.objects.select_for_update().get(pk=draft.pk)
    sessions = sessions_of_job(job)
    if {session.system for session in sessions} != systems:
        raise WrongState(
            f"{job.number} is being measured again. Load the page and look anew."
        )
    judge_sessions_now(sessions=sessions, acting_user=PROGRAM)
    return job, locked, sessions


def reasons_against(
    draft: Draft, sessions: Sequence[MeasuringSession], content: dict[str, Any]
) -> list[str]:
    """Return all that keeps a draft from being approved or issued, in sentences."""
    reasons = blockers(draft, sessions)
    reasons += [f"It lacks {row.words} ({row.id})." for row in unmet(content)]
    signs = unprintable(canonical_text(content))
    if signs:
        reasons.append(
            f"No font of this installation has the signs “{signs}”. Write it "
            "otherwise, or name a font that has them."
        )
    return reasons


def has_changed_since_review(draft: Draft, content: dict[str, Any]) -> bool:
    """Tell whether it would print something else than what was approved."""
    return content_sha256(content) != draft.reviewed_content_sha256


def require_issuable(
    draft: Draft, sessions: Sequence[MeasuringSession], content: dict[str, Any]
) -> None:
    """Refuse a draft against which something stands, or that lacks what it must say.

    Raises
    ------
    NotIssuable
        Naming the first reason, and how many more there are.
    """
    first, *more = reasons_against(draft, sessions, content) or [""]
    if first:
        raise NotIssuable(first + (f" And {len(more)} more." if more else ""))


def require_as_reviewed(draft: Draft, content: dict[str, Any]) -> None:
    """Refuse content that no reviewer saw.

    Raises
    ------
    NotIssuable
    """
    if has_changed_since_review(draft, content):
        raise NotIssuable(CHANGED_SINCE_REVIEW)


# --- Who may ----------------------------------------------------------------------


def may_not_review(person: User, job: Job) -> str:
    """Say why a person may not review a job's certificates; empty if they may."""
    if person.pk in people_who_worked_on(job):
        return (
            "You measured, evaluated or entered results of this job. Somebody else "
            "reviews it."
        )
    return _not_authorised(person, job, Activity.REVIEW)


def may_not_issue(person: User, job: Job) -> str:
    """Say why a person may not issue a job's certificates; empty if they may."""
    return _not_authorised(person, job, Activity.AUTHORISE)


def require_reviewer(person: User, job: Job) -> None:
    """Refuse who did the work, or is not authorised to review by the method.

    Raises
    ------
    NotAllowed
    """
    if sentence := may_not_review(person, job):
        raise NotAllowed(sentence)


def require_signatory(person: User, job: Job) -> None:
    """Refuse who is not authorised to authorise results by the method.

    Raises
    ------
    NotAllowed
    """
    if sentence := may_not_issue(person, job):
        raise NotAllowed(sentence)


def _not_authorised(person: User, job: Job, activity: Activity) -> str:
    agreement = agreement_in_force(job)
    if agreement is None:
        return "Nothing is agreed, so there is no method to do it by."
    method = agreement.method.method
    if is_authorised(person, method, activity, clock.now()):
        return ""
    return (
        f"You are not authorised to {activity.label.lower()} by {method.code}. The "
        "quality manager grants that."
    )
