"""Certificates: listed, shown as issued, handed over, withdrawn, sent."""

from __future__ import annotations

from typing import Final

from django.http import Http404, HttpResponse, HttpResponseBase
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_safe

from lab.accounts.http import Request
from lab.certificates import services
from lab.certificates.access import get_certificate_for
from lab.certificates.forms import SendingForm, WithdrawalForm
from lab.certificates.models import Document
from lab.certificates.pages import certificate_page
from lab.certificates.selectors import (
    SHAPES,
    certificates_for,
    certificates_like,
    drafts_under_way,
    standing_of,
    with_standing,
)
from lab.common import clock
from lab.common.files.views import file_response
from lab.common.forms import accepted
from lab.common.pages import FORM_METHODS, done, form_page, numbered_page, posted

CERTIFICATE: Final = "certificates:detail"
WITHDRAWAL: Final = (
    "It stays on record, and whoever checks its code is told that it is withdrawn. "
    "Tell the customer yourself. It can’t be undone."
)


@require_safe
def certificates(request: Request) -> HttpResponse:
    said = request.GET.get("q", "").strip()
    rows = with_standing(certificates_like(certificates_for(request.user), said))
    page = numbered_page(rows.order_by("-pk"), request.GET.get("page"))
    shown = [(one, standing_of(one)) for one in page.rows]
    context = {
        "page": page,
        "q": said,
        "certificates": [(one, word, SHAPES[word]) for one, word in shown],
        "drafts": [] if said else drafts_under_way(request.user),
    }
    return render(request, "certificates/list.html", context)


@require_safe
def certificate(request: Request, number: str) -> HttpResponse:
    found = get_certificate_for(request.user, number)
    context = certificate_page(request.user, found)
    return render(request, "certificates/certificate.html", context)


@require_safe
def document(request: Request, number: str) -> HttpResponseBase:
    found = get_certificate_for(request.user, number)
    rows = Document.objects.filter(certificate=found).select_related("file")
    drawn = rows.first()
    if drawn is None:
        raise Http404("The document is still being drawn. Try again in a moment.")
    return file_response(drawn.file, f"{number}.pdf")


@require_http_methods(FORM_METHODS)
def withdraw(request: Request, number: str) -> HttpResponse:
    found = get_certificate_for(request.user, number)
    form = WithdrawalForm(request, posted(request))
    if request.method == "POST" and accepted(
        form,
        lambda: services.withdraw_certificate(
            certificate=found,
            reason=form.cleaned_data["reason"],
            acting_user=request.user,
        ),
    ):
        return done(request, f"{number} is withdrawn.", CERTIFICATE, number)
    return form_page(
        request,
        form,
        title=f"Withdraw {number}",
        back=reverse(CERTIFICATE, args=[number]),
        lead=WITHDRAWAL,
        submit="Withdraw",
        danger=True,
    )


@require_http_methods(FORM_METHODS)
def send(request: Request, number: str) -> HttpResponse:
    found = get_certificate_for(request.user, number)
    start = {"at": clock.now(), "sent_to": found.job.contact.email}
    form = SendingForm(posted(request), initial=start)
    if request.method == "POST" and accepted(
        form,
        lambda: services.record_sending(
            certificate=found, acting_user=request.user, **form.cleaned_data
        ),
    ):
        return done(request, "The sending is recorded.", CERTIFICATE, number)
    return form_page(
        request,
        form,
        title=f"{number} went to …",
        back=reverse(CERTIFICATE, args=[number]),
    )
