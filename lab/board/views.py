"""The front page, and the pages that join what several apps know of one thing."""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_safe

from lab.accounts.http import Request
from lab.accounts.models import User
from lab.board.selectors import front_page_of
from lab.certificates import panels as certificate_panels
from lab.common import audit
from lab.common.panels import Panel
from lab.evidence import panels as case_panels
from lab.inspections import panels as result_panels
from lab.jobs import panels as job_panels
from lab.jobs.access import get_job_for
from lab.jobs.models import Job
from lab.laboratory.selectors import the_laboratory
from lab.lapses import panels as lapse_panels

#: The job's page from top to bottom.
JOB_PANELS: Final[tuple[Callable[[User, Job], Panel | None], ...]] = (
    job_panels.ready,
    job_panels.holds,
    job_panels.agreement,
    job_panels.items,
    job_panels.soak,
    job_panels.sessions,
    lapse_panels.findings,
    case_panels.cases,
    result_panels.results,
    certificate_panels.drafts,
    certificate_panels.certificates,
)
#: How much of a job's history its page shows; the record has the rest.
NEWEST: Final = 12


@require_safe
def home(request: Request) -> HttpResponse:
    if request.user.is_client:
        return redirect("portal:home")
    if the_laboratory() is None:
        return render(request, "board/first_steps.html")
    return render(request, "board/home.html", front_page_of(request.user))


@require_safe
def job(request: Request, number: str) -> HttpResponse:
    found = get_job_for(request.user, number)
    context = {
        "job": found,
        "panels": [p for show in JOB_PANELS if (p := show(request.user, found))],
        "history": audit.history_of(found)[:NEWEST],
        "may_cancel": request.user.may("jobs.cancel") and found.state == "booked",
    }
    return render(request, "board/job.html", context)
