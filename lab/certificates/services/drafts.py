"""Drafts: started, changed, remarked on, abandoned."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from lab.accounts.models import User
from lab.certificates.models import Certificate, Draft, DraftRemark
from lab.certificates.selectors import open_drafts_for
from lab.certificates.states import CERTIFIABLE, job_out_of_review, move_draft
from lab.common import audit
from lab.common.errors import NotAcceptable, WrongState
from lab.common.services import service
from lab.common.texts import optional_text, refuse_placeholder
from lab.jobs.models import Job, JobItem
from lab.jobs.states import lock_job
from lab.laboratory.models import Laboratory


@service(may="certificates.draft")
def start_draft(
    *,
    job: Job,
    items: Sequence[JobItem],
    title: str,
    deviations: str,
    opinion: str = "",
    adjustment: str = "",
    amends: Certificate | None = None,
    replaces: Certificate | None = None,
    change: str = "",
    acting_user: User,
) -> Draft:
    """Begin a certificate for one or more items of a job.

    With ``amends`` or ``replaces`` it will be a further document, or a wholly new
    one, tied by number to one that was issued.

    Raises
    ------
    NotAcceptable
        If there is no item, one is another job's, a text is a placeholder, or a
        change comes without saying what is changed.
    WrongState
        If nothing was measured, or a draft for one of the items is under way.
    """
    job = lock_job(job)
    if job.state not in CERTIFIABLE:
        raise WrongState(
            f"{job.number} is {job.get_state_display().lower()}: there is nothing to "
            "certify."
        )
    _require_items(job, items)
    _require_old(job, amends, replaces)
    other = open_drafts_for(job, items).first()
    if other is not None:
        raise WrongState(
            f"Draft {other.pk} is about one of these items already. Go on with that "
            "one, or abandon it."
        )
    draft = Draft.objects.create(
        job=job,
        amends=amends,
        replaces=replaces,
        prepared_by=acting_user,
        **_texts(
            title=title,
            deviations=deviations,
            opinion=opinion,
            adjustment=adjustment,
            change=change,
            is_change=bool(amends or replaces),
        ),
    )
    draft.items.set(items)
    audit.record(
        "draft.started",
        draft,
        actor=acting_user,
        after={
            "items": [item.serial for item in items],
            "amends": amends.number if amends else None,
            "replaces": replaces.number if replaces else None,
        },
    )
    return draft


@service(may="certificates.draft")
def change_draft(
    *,
    draft: Draft,
    items: Sequence[JobItem],
    title: str,
    deviations: str,
    opinion: str = "",
    adjustment: str = "",
    change: str = "",
    acting_user: User,
) -> Draft:
    """Change what a draft says; only before it is submitted.

    Raises
    ------
    NotAcceptable
        As :func:`start_draft` does.
    WrongState
        If it is in review or further; the reviewer sends it back first.
    """
    job = lock_job(draft.job)
    draft = Draft.objects.select_for_update().get(pk=draft.pk)
    if draft.state != Draft.State.DRAFT:
        raise WrongState(
            f"The draft is {draft.get_state_display().lower()}. It has to be sent back "
            "before it is changed."
        )
    _require_items(job, items)
    if open_drafts_for(job, items).exclude(pk=draft.pk).exists():
        raise WrongState("Another draft is about one of these items already.")
    new = _texts(
        title=title,
        deviations=deviations,
        opinion=opinion,
        adjustment=adjustment,
        change=change,
        is_change=bool(draft.amends_id or draft.replaces_id),
    )
    new_items = [item.serial for item in items]
    old_items = [item.serial for item in draft.items.order_by("position")]
    changed = {name: text for name, text in new.items() if getattr(draft, name) != text}
    if not changed and set(new_items) == set(old_items):
        audit.nothing_changed()
        return draft
    before = {name: getattr(draft, name) for name in changed}
    for name, text in changed.items():
        setattr(draft, name, text)
    draft.save(update_fields=list(new))
    draft.items.set(items)
    audit.record(
        "draft.changed",
        draft,
        actor=acting_user,
        before=before | {"items": old_items},
        after=changed | {"items": new_items},
    )
    return draft


@service(may="certificates.see")
def add_remark(*, draft: Draft, text: str, acting_user: User) -> DraftRemark:
    """Say something about a draft; it is kept beside it and never printed."""
    made = DraftRemark.objects.create(
        draft=draft, text=refuse_placeholder(text, "text"), said_by=acting_user
    )
    audit.record("draft.remarked", draft, actor=acting_user, after={"text": made.text})
    return made


@service(may="certificates.draft")
def abandon_draft(*, draft: Draft, acting_user: User) -> Draft:
    """Give a draft up; it stays on record.

    Raises
    ------
    WrongState
        If it is reviewed (send it back first), issued or abandoned.
    """
    job = lock_job(draft.job)
    draft = Draft.objects.select_for_update().get(pk=draft.pk)
    move_draft(draft, Draft.State.ABANDONED, actor=acting_user)
    job_out_of_review(job, actor=acting_user)
    return draft


def _texts(
    *,
    title: str,
    deviations: str,
    opinion: str,
    adjustment: str,
    change: str,
    is_change: bool,
) -> dict[str, Any]:
    if title not in Laboratory.Title.values:
        raise NotAcceptable("Choose what kind of document it is.", field="title")
    if change.strip() and not is_change:
        raise NotAcceptable(
            "Only an amendment or a replacement says what it changes.", field="change"
        )
    return {
        "title": Laboratory.Title(title),
        "deviations": refuse_placeholder(deviations, "deviations"),
        "opinion": optional_text(opinion, "opinion"),
        "adjustment": optional_text(adjustment, "adjustment"),
        "change": refuse_placeholder(change, "change") if is_change else "",
    }


def _require_items(job: Job, items: Sequence[JobItem]) -> None:
    if not items:
        raise NotAcceptable("Say which items it is about.", field="items")
    strangers = [item.serial for item in items if item.job_id != job.pk]
    if strangers:
        raise NotAcceptable(f"{strangers[0]} is of another job.", field="items")


def _require_old(
    job: Job, amends: Certificate | None, replaces: Certificate | None
) -> None:
    if amends and replaces:
        raise NotAcceptable("A document amends another or replaces it, not both.")
    old = amends or replaces
    if old is not None and old.job_id != job.pk:
        raise NotAcceptable(f"{old.number} is of another job.")
