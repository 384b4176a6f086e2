"""The one way in which a draft goes from a state to the next."""

from __future__ import annotations

from typing import Any, Final

from lab.certificates.models import DRAFT_TRANSITIONS, Draft
from lab.common import audit
from lab.common.actors import Actor
from lab.common.errors import WrongState
from lab.jobs.models import Job, JobState
from lab.jobs.states import advance

State = Draft.State
#: States in which somebody still works on a draft.
OPEN = (State.DRAFT, State.IN_REVIEW, State.REVIEWED)
#: States in which something has been measured that can be certified.
CERTIFIABLE: Final = {
    JobState.MEASURING,
    JobState.EVALUATED,
    JobState.IN_REVIEW,
    JobState.RETURNED,
}
#: States in which a draft keeps its job in review.
UNDER_REVIEW = (State.IN_REVIEW, State.REVIEWED)


class DraftNotReviewed(WrongState):
    """Only a reviewed draft is issued, and only once."""


def move_draft(
    draft: Draft,
    to: Draft.State,
    *,
    actor: Actor,
    reason: str = "",
    **columns: Any,
) -> None:
    """Move a draft inside the caller's service; of two who move it, one wins.

    Raises
    ------
    WrongState
        If the state doesn't follow the present one, or somebody was first.
    """
    origin = State(draft.state)
    if to not in DRAFT_TRANSITIONS[origin]:
        raise WrongState(
            f"The draft is {origin.label.lower()}; from there it can't become "
            f"{to.label.lower()}."
        )
    rows = Draft.objects.filter(pk=draft.pk, state=origin)
    if rows.update(state=to, **columns) != 1:
        raise WrongState(
            "Somebody has moved this draft meanwhile. Load the page again."
        )
    draft.refresh_from_db()
    audit.record(
        "draft.moved",
        draft,
        actor=actor,
        reason=reason,
        before={"state": origin},
        after={"state": to},
    )


def job_out_of_review(job: Job, *, actor: Actor) -> None:
    """Let a job be evaluated again when no draft of it is under review any more."""
    if job.state != JobState.IN_REVIEW:
        return
    if not job.drafts.filter(state__in=UNDER_REVIEW).exists():
        advance(job, JobState.EVALUATED, actor=actor)
