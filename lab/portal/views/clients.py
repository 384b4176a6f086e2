"""What a client contact sees: their own customer's jobs and certificates."""

from __future__ import annotations

from typing import Final

from django.http import Http404, HttpResponse, HttpResponseBase
from django.shortcuts import render
from django.views.decorators.http import require_safe

from lab.accounts.http import Request
from lab.certificates.models import Document
from lab.certificates.selectors import certificates_for
from lab.common.errors import WrongState
from lab.common.files.views import file_response
from lab.common.pages import numbered_page
from lab.customers.access import customer_of
from lab.jobs.access import get_job_for, jobs_for
from lab.portal.selectors import SHOWN, rows_for
from lab.portal.words import status_in_plain_words

JOBS_ON_A_PAGE: Final = 25


@require_safe
def home(request: Request) -> HttpResponse:
    jobs = jobs_for(request.user).select_related("part_revision__part")
    page = numbered_page(jobs, request.GET.get("page"), size=JOBS_ON_A_PAGE)
    certificates = rows_for(request.user)
    context = {
        "customer": customer_of(request.user),
        "page": page,
        "jobs": [(job, status_in_plain_words(job)) for job in page.rows],
        "certificates": certificates,
        "has_more": len(certificates) == SHOWN,
    }
    return render(request, "portal/home.html", context)


@require_safe
def job(request: Request, number: str) -> HttpResponse:
    found = get_job_for(request.user, number)
    context = {
        "job": found,
        "status": status_in_plain_words(found),
        "items": found.items.select_related("receipt", "returning"),
        "certificates": rows_for(request.user, found),
    }
    return render(request, "portal/job.html", context)


@require_safe
def certificate(request: Request, number: str) -> HttpResponseBase:
    """Hand over the document of one of their certificates."""
    found = certificates_for(request.user).filter(number=number).first()
    if found is None:
        raise Http404("There is no such certificate.")
    drawn = Document.objects.filter(certificate=found).select_related("file").first()
    if drawn is None:
        raise WrongState(
            f"The document of {number} is still being drawn. Try again in a moment."
        )
    return file_response(drawn.file, f"{number}.pdf")
