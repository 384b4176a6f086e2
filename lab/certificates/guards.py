"""What approval and issue ask of a draft, in one transaction with nothing between."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from lab.accounts.models import User
from lab.certificates.blockers import blockers, sessions_of_job
from lab.certificates.models import Draft
from lab.certificates.requirements import unmet
from lab.certificates.selectors import people_who_worked_on
from lab.checks.locks import lock_systems
from lab.common import clock
from lab.common.actors import PROGRAM
from lab.common.errors import NotAllowed, WrongState
from lab.jobs.models import Job, MeasuringSession
from lab.jobs.selectors import agreement_in_force
from lab.jobs.states import lock_job
from lab.laboratory.models import Activity
from lab.laboratory.selectors import is_authorised
from lab.lapses.services import judge_sessions_now


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


def require_issuable(
    draft: Draft, sessions: Sequence[MeasuringSession], content: dict[str, Any]
) -> None:
    """Refuse a draft against which something stands, or that lacks what it must say.

    Raises
    ------
    NotIssuable
        Naming the first reason, and how many more there are.
    """
    reasons = blockers(draft, sessions)
    reasons += [f"It lacks {row.words} ({row.id})." for row in unmet(content)]
    if reasons:
        more = f" There are {len(reasons) - 1} more reasons." if reasons[1:] else ""
        raise NotIssuable(f"{reasons[0]}{more}")


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
