"""The one way in which a job goes from a state to the next."""

from __future__ import annotations

from lab.common import audit
from lab.common.actors import Actor
from lab.common.errors import WrongState
from lab.jobs.models import TRANSITIONS, Job, JobState, MeasuringSession


def advance(job: Job, to: JobState, *, actor: Actor, reason: str = "") -> None:
    """Move a job inside the caller's service; of two who move it, one wins.

    Raises
    ------
    WrongState
        If the state doesn't follow the present one, or somebody was first.
    """
    origin = JobState(job.state)
    if to not in TRANSITIONS[origin]:
        raise WrongState(
            f"{job.number} is {origin.label.lower()}; from there it can't become "
            f"{to.label.lower()}."
        )
    if Job.objects.filter(pk=job.pk, state=origin).update(state=to) != 1:
        raise WrongState(
            f"Somebody has moved {job.number} meanwhile. Load the page again."
        )
    job.state = to
    audit.record(
        "job.moved",
        job,
        actor=actor,
        reason=reason,
        before={"state": origin},
        after={"state": to},
    )


def lock_job(job: Job) -> Job:
    """Lock a job's row for the caller's transaction and return it as it is now."""
    return Job.objects.select_for_update().get(pk=job.pk)


def require_open(job: Job) -> None:
    """Refuse to touch a job that is over.

    Raises
    ------
    WrongState
        If it was returned or cancelled.
    """
    if job.is_over:
        raise WrongState(f"{job.number} is over: it is {job.get_state_display()}.")


def require_no_open_session(job: Job) -> None:
    """Refuse to go on while somebody measures.

    Raises
    ------
    WrongState
        If a session of the job runs or is paused.
    """
    open_ones = job.sessions.exclude(state=MeasuringSession.State.ENDED)
    if open_ones.exists():
        raise WrongState(
            f"A measuring session of {job.number} has not ended. End it first."
        )
