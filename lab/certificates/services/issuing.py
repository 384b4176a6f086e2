"""Issue: the reviewed content frozen, numbered and handed to the renderer."""

from __future__ import annotations

from dataclasses import asdict
from datetime import datetime
from typing import Any

from lab.accounts.models import User
from lab.certificates.documents.signing import signer
from lab.certificates.guards import (
    NotIssuable,
    lock_chain,
    require_as_reviewed,
    require_issuable,
    require_signatory,
)
from lab.certificates.models import (
    Certificate,
    CertificateItem,
    CertificateResult,
    Draft,
)
from lab.certificates.requirements import unmet
from lab.certificates.snapshot import (
    Issue,
    content_of,
    issued,
    program_version,
)
from lab.certificates.snapshot.issue import new_code, url_of
from lab.certificates.snapshot.results import stated_results
from lab.certificates.snapshot.words import day_text, moment_text
from lab.certificates.states import DraftNotReviewed, job_out_of_review
from lab.common import audit, clock
from lab.common.jsontext import canonical_text, sha256_hex
from lab.common.services import service
from lab.common.work import enqueue
from lab.jobs.models import Job
from lab.jobs.selectors import agreement_in_force
from lab.laboratory.models import Series
from lab.laboratory.numbers import take_number
from lab.laboratory.selectors import home_zone


@service(may="certificates.issue")
def issue_certificate(*, draft: Draft, acting_user: User) -> Certificate:
    """Freeze a reviewed draft as a certificate and ask for its document.

    The caller has just confirmed who acts (password and code). Everything that could
    speak against issue is looked at again under the locks of the measuring systems,
    and the number is taken last, so that none is ever missing.

    Raises
    ------
    DraftNotReviewed
        If the draft is in any other state, which includes the case where another
        request issued it a moment earlier.
    NotAllowed
        If the person is not authorised to authorise results by the method.
    NotIssuable
        If a hold, an open session, a missing text or a change since the review
        stands against it; it is named.
    SigningKeyUnusable
        If a signing key is set up and can't be read.
    """
    job, draft, sessions = lock_chain(draft)
    require_signatory(acting_user, job)
    reviewed = Draft.objects.filter(pk=draft.pk, state=Draft.State.REVIEWED)
    if reviewed.update(state=Draft.State.ISSUED) != 1:
        raise DraftNotReviewed(
            f"The draft is {draft.get_state_display().lower()}. Only a reviewed draft "
            "is issued, and only once."
        )
    draft.state = Draft.State.ISSUED
    content = content_of(draft)
    require_issuable(draft, sessions, content)
    require_as_reviewed(draft, content)
    certificate = _freeze(draft, job, content, acting_user)
    _link(certificate, draft, job)
    audit.record(
        "certificate.issued",
        certificate,
        actor=acting_user,
        after={
            "number": certificate.number,
            "draft": draft.pk,
            "snapshot_sha256": certificate.snapshot_sha256,
        },
    )
    enqueue("certificates.render", certificate.pk)
    job_out_of_review(job, actor=acting_user)
    return certificate


def _freeze(
    draft: Draft, job: Job, content: dict[str, Any], person: User
) -> Certificate:
    now = clock.now()
    code, head = new_code(), audit.head()
    # The number is the last lock before the insert (DEVELOPERS.md, "Locks").
    number = take_number(Series.CERTIFICATE, now.astimezone(home_zone()).year)
    issue = _issue(draft, person, now, number=number, code=code, head=head)
    snapshot = issued(content, issue)
    for row in unmet(snapshot, issued=True):
        raise NotIssuable(f"It lacks {row.words} ({row.id}).")
    text = canonical_text(snapshot)
    return Certificate.objects.create(
        number=number,
        job=job,
        draft=draft,
        amends=draft.amends,
        replaces=draft.replaces,
        snapshot_text=text,
        snapshot_sha256=sha256_hex(text),
        authenticity_code=code,
        issued_by=person,
        issued_at=now,
    )


def _issue(
    draft: Draft, person: User, now: datetime, *, number: str, code: str, head: str
) -> Issue:
    zone = home_zone()
    key = signer()
    reviewer, reviewed_at = draft.reviewed_by, draft.reviewed_at
    return Issue(
        number=number,
        issued_on=day_text(now.astimezone(zone).date()),
        issued_at=moment_text(now, zone),
        authorised_by=person.name,
        reviewed_by=reviewer.name if reviewer else "",
        reviewed_on=day_text(reviewed_at.astimezone(zone).date())
        if reviewed_at
        else "",
        authenticity_code=code,
        authenticity_url=url_of(code),
        seal_head=head,
        program_version=program_version(),
        signature=asdict(key) if key else None,
    )


def _link(certificate: Certificate, draft: Draft, job: Job) -> None:
    """Tie the certificate to its items, its results and how they were decided."""
    items = list(draft.items.all())
    CertificateItem.objects.bulk_create(
        CertificateItem(certificate=certificate, item=item) for item in items
    )
    stated = stated_results(job, agreement_in_force(job), items, adjusted=False)
    CertificateResult.objects.bulk_create(
        CertificateResult(
            certificate=certificate, result=one.result, decision=one.decision
        )
        for one in stated
        if one.decision is not None
    )
