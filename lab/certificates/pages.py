"""What the pages of drafts and certificates show, put together for one person."""

from __future__ import annotations

from typing import Any

from lab.accounts.models import User
from lab.certificates.blockers import sessions_of_job
from lab.certificates.guards import (
    CHANGED_SINCE_REVIEW,
    has_changed_since_review,
    may_not_issue,
    may_not_review,
    reasons_against,
)
from lab.certificates.models import Certificate, Document, Draft
from lab.certificates.requirements import REQUIREMENTS
from lab.certificates.selectors import SHAPES, changed_results, standing_of
from lab.certificates.snapshot import content_of, read_snapshot
from lab.lapses.selectors import findings_of

State = Draft.State


def draft_page(user: User, draft: Draft) -> dict[str, Any]:
    """Return a draft as it would be printed, what it lacks, and what one may do."""
    content = content_of(draft)
    return {
        "draft": draft,
        "job": draft.job,
        "content": content,
        "reasons": reasons_now(draft, content),
        "requirements": [
            (row, row.applies(content), row.present(content))
            for row in REQUIREMENTS
            if not row.at_issue
        ],
        "findings": findings_of(draft.job),
        "remarks": draft.remarks.select_related("said_by"),
        **_actions(user, draft),
    }


def reasons_now(draft: Draft, content: dict[str, Any]) -> list[str]:
    """Return what stands against approval or issue by what is recorded so far."""
    if draft.state not in (State.DRAFT, State.IN_REVIEW, State.REVIEWED):
        return []
    reasons = reasons_against(draft, sessions_of_job(draft.job), content)
    if draft.state == State.REVIEWED and has_changed_since_review(draft, content):
        reasons.insert(0, CHANGED_SINCE_REVIEW)
    return reasons


def reasons_against_issue(draft: Draft) -> list[str]:
    """Return why a draft would not be issued now, before anybody gives a code."""
    if draft.state != State.REVIEWED:
        return [f"It is {draft.get_state_display().lower()}, not reviewed."]
    return reasons_now(draft, content_of(draft))


def _actions(user: User, draft: Draft) -> dict[str, Any]:
    """Return what this person may do in this state; a reason where they may not."""
    state, drafts = draft.state, user.may("certificates.draft")
    reviews, issues = user.may("certificates.review"), user.may("certificates.issue")
    in_review = reviews and state == State.IN_REVIEW
    to_issue = issues and state == State.REVIEWED
    return {
        "may_change": drafts and state == State.DRAFT,
        "may_submit": drafts and state == State.DRAFT,
        "may_abandon": drafts and state in (State.DRAFT, State.IN_REVIEW),
        "may_send_back": reviews and state in (State.IN_REVIEW, State.REVIEWED),
        "may_approve": in_review,
        "approval_refused": may_not_review(user, draft.job) if in_review else "",
        "may_issue": to_issue,
        "issue_refused": may_not_issue(user, draft.job) if to_issue else "",
    }


def certificate_page(user: User, certificate: Certificate) -> dict[str, Any]:
    """Return a certificate as issued, how it stands, and what one may do with it."""
    standing = standing_of(certificate)
    may_change = user.may("certificates.draft") and standing != "superseded"
    return {
        "certificate": certificate,
        "job": certificate.job,
        "content": read_snapshot(certificate.snapshot_text),
        "standing": standing,
        "shape": SHAPES[standing],
        "document": Document.objects.filter(certificate=certificate).first(),
        "sendings": certificate.sendings.select_related("sent_by"),
        "changed": changed_results(certificate),
        "may_send": user.may("certificates.see") and standing != "withdrawn",
        "may_amend": may_change and standing != "withdrawn",
        "may_replace": may_change,
        "may_withdraw": user.may("certificates.withdraw") and standing != "withdrawn",
    }
