"""What a client contact sees: their own customer's jobs and certificates."""

from __future__ import annotations

from django.http import Http404, HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import render
from django.views.decorators.http import require_safe

from lab.accounts.http import Request
from lab.certificates.models import Document
from lab.certificates.selectors import certificates_for, standing_of, with_standing
from lab.common.files.views import file_response
from lab.customers.access import customer_of
from lab.jobs.access import jobs_for
from lab.portal.words import status_in_plain_words

SHOWN = 100


@require_safe
def home(request: Request) -> HttpResponse:
    jobs = jobs_for(request.user).select_related("part_revision__part")
    certificates = with_standing(certificates_for(request.user)).order_by("-pk")
    context = {
        "customer": customer_of(request.user),
        "jobs": [(job, status_in_plain_words(job)) for job in jobs[:SHOWN]],
        "certificates": [(one, standing_of(one)) for one in certificates[:SHOWN]],
    }
    return render(request, "portal/home.html", context)


@require_safe
def certificate(request: Request, number: str) -> HttpResponseBase:
    """Hand over the document of one of their certificates."""
    rows = certificates_for(request.user).filter(number=number)
    documents = Document.objects.filter(certificate__in=rows)
    document = documents.select_related("file").first()
    if document is None:
        raise Http404("There is no such certificate.")
    return file_response(document.file, f"{number}.pdf")
