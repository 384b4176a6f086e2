"""Drafts and certificates of a job, on its page."""

from __future__ import annotations

from lab.accounts.models import User
from lab.certificates.models import Draft
from lab.certificates.selectors import (
    SHAPES,
    drafts_of,
    standing_of,
    with_standing,
)
from lab.certificates.states import CERTIFIABLE
from lab.common.panels import Panel
from lab.inspections.models import Result
from lab.jobs.models import Job


def drafts(user: User, job: Job) -> Panel | None:
    """Return the drafts under way, and the way to begin one."""
    if not user.may("certificates.see") or job.state not in CERTIFIABLE:
        return None
    over = (Draft.State.ISSUED, Draft.State.ABANDONED)
    may_start = user.may("certificates.draft") and (
        Result.objects.filter(job=job).exists()
    )
    context = {
        "job": job,
        "drafts": drafts_of(job).exclude(state__in=over),
        "may_start": may_start,
    }
    return Panel("Drafts", "certificates/panels/drafts.html", context)


def certificates(user: User, job: Job) -> Panel | None:
    """Return what was issued for a job and how it stands."""
    rows = with_standing(job.certificates.all()).order_by("-pk")
    shown = [(one, standing_of(one)) for one in rows]
    if not shown or not user.may("certificates.see"):
        return None
    context = {"certificates": [(one, word, SHAPES[word]) for one, word in shown]}
    return Panel("Certificates", "certificates/panels/certificates.html", context)
