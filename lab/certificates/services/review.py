"""Review: submitted, sent back, approved by somebody who did not do the work."""

from __future__ import annotations

from lab.accounts.models import User
from lab.certificates.guards import lock_chain, require_issuable, require_reviewer
from lab.certificates.models import Draft, DraftRemark
from lab.certificates.snapshot import content_of, content_sha256
from lab.certificates.states import job_out_of_review, move_draft
from lab.common import clock
from lab.common.errors import WrongState
from lab.common.services import service
from lab.common.texts import refuse_placeholder
from lab.jobs.models import JobState
from lab.jobs.states import advance, lock_job

State = Draft.State
NO_REVIEW: dict[str, object] = {
    "reviewed_by": None,
    "reviewed_at": None,
    "reviewed_content_sha256": "",
}


@service(may="certificates.draft")
def submit_draft(*, draft: Draft, acting_user: User) -> Draft:
    """Hand a draft in for review; the job is in review with it.

    Raises
    ------
    WrongState
        If the evaluation of the job is not finished, or the draft is no draft.
    """
    job = lock_job(draft.job)
    draft = Draft.objects.select_for_update().get(pk=draft.pk)
    if job.state == JobState.MEASURING:
        raise WrongState(
            f"The evaluation of {job.number} is not finished. Finish it first."
        )
    move_draft(draft, State.IN_REVIEW, actor=acting_user)
    if job.state == JobState.EVALUATED:
        advance(job, JobState.IN_REVIEW, actor=acting_user)
    return draft


@service(may="certificates.review")
def send_back_draft(*, draft: Draft, text: str, acting_user: User) -> Draft:
    """Send a draft back with what is to be mended; an approval of it is void.

    Raises
    ------
    NotAcceptable
        Without a text.
    WrongState
        If it is neither in review nor reviewed.
    """
    remark = refuse_placeholder(text, "text")
    job = lock_job(draft.job)
    draft = Draft.objects.select_for_update().get(pk=draft.pk)
    move_draft(draft, State.DRAFT, actor=acting_user, reason=remark, **NO_REVIEW)
    DraftRemark.objects.create(draft=draft, text=remark, said_by=acting_user)
    job_out_of_review(job, actor=acting_user)
    return draft


@service(may="certificates.review")
def approve_draft(*, draft: Draft, acting_user: User) -> Draft:
    """Approve a draft as it reads now: its content's hash is what may be issued.

    Raises
    ------
    NotAllowed
        If the person measured, evaluated or entered results of the job, or is not
        authorised to review by the method. Neither can be passed over.
    WrongState
        If something keeps it from being issued (it is named), or it is not in review.
    """
    job, draft, sessions = lock_chain(draft)
    require_reviewer(acting_user, job)
    if draft.state != State.IN_REVIEW:
        raise WrongState(
            f"The draft is {draft.get_state_display().lower()}, not in review."
        )
    content = content_of(draft)
    require_issuable(draft, sessions, content)
    move_draft(
        draft,
        State.REVIEWED,
        actor=acting_user,
        reviewed_by=acting_user,
        reviewed_at=clock.now(),
        reviewed_content_sha256=content_sha256(content),
    )
    return draft
