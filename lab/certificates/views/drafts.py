"""Drafts: started, changed, submitted, reviewed, issued."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import (
    require_http_methods,
    require_POST,
    require_safe,
)

from lab.accounts.forms import IdentityForm
from lab.accounts.http import Request
from lab.certificates import services
from lab.certificates.access import get_certificate_for, get_draft_for
from lab.certificates.forms import (
    DraftForm,
    RemarkForm,
    SendBackForm,
    first_values,
    values_of,
)
from lab.certificates.guards import require_signatory
from lab.certificates.models import Certificate, Draft
from lab.certificates.pages import draft_page, reasons_against_issue
from lab.common.forms import accepted
from lab.common.pages import FORM_METHODS, done, form_page, posted
from lab.jobs.access import get_job_for
from lab.jobs.models import Job

DRAFT: Final = "certificates:draft"
CERTIFICATE: Final = "certificates:detail"


@require_http_methods(FORM_METHODS)
def start(request: Request, number: str) -> HttpResponse:
    job = get_job_for(request.user, number)
    way = ChangeOf.asked(request)
    form = DraftForm(
        posted(request),
        job=job,
        is_change=way.old is not None,
        initial=first_values(job, way.old),
    )
    made: list[Draft] = []
    if request.method == "POST" and accepted(
        form, lambda: made.append(way.start(request, job, form.cleaned_data))
    ):
        return done(request, "The draft is started.", DRAFT, made[0].pk)
    back = reverse("board:job", args=[number])
    return form_page(request, form, title=way.title(number), back=back)


@dataclass(frozen=True, slots=True)
class ChangeOf:
    """Which certificate a draft amends or replaces, if its address names one."""

    amends: Certificate | None
    replaces: Certificate | None

    @classmethod
    def asked(cls, request: Request) -> ChangeOf:
        def named(way: str) -> Certificate | None:
            number = request.GET.get(way, "")
            return get_certificate_for(request.user, number) if number else None

        return cls(amends=named("amends"), replaces=named("replaces"))

    @property
    def old(self) -> Certificate | None:
        return self.amends or self.replaces

    def start(self, request: Request, job: Job, words: dict[str, Any]) -> Draft:
        return services.start_draft(
            job=job,
            amends=self.amends,
            replaces=self.replaces,
            acting_user=request.user,
            **words,
        )

    def title(self, number: str) -> str:
        if self.old is None:
            return f"Draft a certificate for {number}"
        return f"{'Amend' if self.amends else 'Replace'} {self.old.number}"


@require_safe
def draft(request: Request, pk: int) -> HttpResponse:
    found = get_draft_for(request.user, pk)
    if found.state == Draft.State.ISSUED:
        return redirect(CERTIFICATE, found.certificate.number)
    context = draft_page(request.user, found)
    return render(request, "certificates/draft.html", context)


@require_http_methods(FORM_METHODS)
def change(request: Request, pk: int) -> HttpResponse:
    found = get_draft_for(request.user, pk)
    form = DraftForm(
        posted(request),
        job=found.job,
        is_change=bool(found.amends_id or found.replaces_id),
        initial=values_of(found),
    )
    if request.method == "POST" and accepted(
        form,
        lambda: services.change_draft(
            draft=found, acting_user=request.user, **form.cleaned_data
        ),
    ):
        return done(request, "The draft is changed.", DRAFT, pk)
    back = reverse(DRAFT, args=[pk])
    return form_page(request, form, title="Change the draft", back=back)


@require_POST
def submit(request: Request, pk: int) -> HttpResponse:
    found = get_draft_for(request.user, pk)
    services.submit_draft(draft=found, acting_user=request.user)
    return done(request, "The draft is in review.", DRAFT, pk)


@require_POST
def abandon(request: Request, pk: int) -> HttpResponse:
    found = get_draft_for(request.user, pk)
    services.abandon_draft(draft=found, acting_user=request.user)
    return done(request, "The draft is abandoned.", DRAFT, pk)


@require_POST
def approve(request: Request, pk: int) -> HttpResponse:
    found = get_draft_for(request.user, pk)
    services.approve_draft(draft=found, acting_user=request.user)
    return done(request, "The draft is reviewed as it reads now.", DRAFT, pk)


@require_http_methods(FORM_METHODS)
def send_back(request: Request, pk: int) -> HttpResponse:
    found = get_draft_for(request.user, pk)
    form = SendBackForm(posted(request))
    if request.method == "POST" and accepted(
        form,
        lambda: services.send_back_draft(
            draft=found, acting_user=request.user, **form.cleaned_data
        ),
    ):
        return done(request, "The draft is sent back.", DRAFT, pk)
    return form_page(
        request,
        form,
        title="Send the draft back",
        back=reverse(DRAFT, args=[pk]),
        lead="It becomes a draft again. If it was approved, the approval is void.",
        submit="Send back",
    )


@require_http_methods(FORM_METHODS)
def remark(request: Request, pk: int) -> HttpResponse:
    found = get_draft_for(request.user, pk)
    form = RemarkForm(posted(request))
    if request.method == "POST" and accepted(
        form,
        lambda: services.add_remark(
            draft=found, acting_user=request.user, **form.cleaned_data
        ),
    ):
        return done(request, "The remark is kept.", DRAFT, pk)
    back = reverse(DRAFT, args=[pk])
    return form_page(request, form, title="Remark on the draft", back=back)


@require_http_methods(FORM_METHODS)
def issue(request: Request, pk: int) -> HttpResponse:
    """Ask who acts once more, then issue; with reasons against it there is no form."""
    found = get_draft_for(request.user, pk)
    require_signatory(request.user, found.job)
    reasons = reasons_against_issue(found)
    form = IdentityForm(request, None if reasons else posted(request))
    made: list[Certificate] = []
    if form.is_bound and accepted(
        form,
        lambda: made.append(
            services.issue_certificate(draft=found, acting_user=request.user)
        ),
    ):
        number = made[0].number
        return done(request, f"{number} is issued.", CERTIFICATE, number)
    context = {"draft": found, "job": found.job, "form": form, "reasons": reasons}
    status = 409 if reasons and request.method == "POST" else 200
    status = 400 if form.is_bound else status
    return render(request, "certificates/issue.html", context, status=status)
