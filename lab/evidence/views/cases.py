"""The list of cases, a case on one page, and opening one."""

from __future__ import annotations

from typing import Final

from django.db.models import F
from django.http import HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_safe

from lab.accounts.forms import IdentityForm
from lab.accounts.http import Request
from lab.common.forms import accepted
from lab.common.pages import FORM_METHODS, done, form_page, numbered_page, posted
from lab.evidence import services
from lab.evidence.access import cases_for, get_case_for
from lab.evidence.forms import CloseForm, NameJobForm, OpenForm, ResumeForm
from lab.evidence.guards import require_decider, require_impartial
from lab.evidence.models import Case
from lab.evidence.outstanding import dossier_of
from lab.evidence.pages import case_page

CASE: Final = "evidence:detail"


@require_safe
def cases(request: Request) -> HttpResponse:
    rows = cases_for(request.user).select_related("system", "device", "closure")
    # "open" comes after "closed" in the alphabet, and first on the page.
    ordered = rows.order_by(F("state").desc(), "-pk")
    page = numbered_page(ordered, request.GET.get("page"))
    may_open = request.user.may("cases.open")
    return render(request, "evidence/cases.html", {"page": page, "may_open": may_open})


@require_safe
def case(request: Request, pk: int) -> HttpResponse:
    found = get_case_for(request.user, pk)
    return render(request, "evidence/case.html", case_page(request.user, found))


@require_http_methods(FORM_METHODS)
def open_case(request: Request) -> HttpResponse:
    start = {"job": request.GET.get("job", ""), "cause": request.GET.get("cause", "")}
    form = OpenForm(posted(request), initial=start)
    made: list[Case] = []
    if request.method == "POST" and accepted(
        form,
        lambda: made.append(
            services.open_case(acting_user=request.user, **form.cleaned_data)
        ),
    ):
        return done(request, "The case is open.", CASE, made[0].pk)
    return form_page(
        request,
        form,
        title="Open a case",
        back=reverse("evidence:list"),
        lead="For work that did not conform, whatever the cause. It stays open until "
        "each certificate is decided and each customer told.",
        submit="Open",
    )


@require_http_methods(FORM_METHODS)
def name_job(request: Request, pk: int) -> HttpResponse:
    found = get_case_for(request.user, pk)
    form = NameJobForm(posted(request))
    if request.method == "POST" and accepted(
        form,
        lambda: services.name_job(
            case=found, acting_user=request.user, **form.cleaned_data
        ),
    ):
        return done(request, "The job is named.", CASE, pk)
    title, back = "Name a job that the case touches", reverse(CASE, args=[pk])
    return form_page(request, form, title=title, back=back)


@require_http_methods(FORM_METHODS)
def resume(request: Request, pk: int) -> HttpResponse:
    found = get_case_for(request.user, pk)
    require_decider(request.user)
    form = ResumeForm(posted(request))
    if request.method == "POST" and accepted(
        form,
        lambda: services.let_resume(
            case=found, acting_user=request.user, **form.cleaned_data
        ),
    ):
        return done(request, "Work may go on.", CASE, pk)
    return form_page(
        request,
        form,
        title="Let work go on",
        back=reverse(CASE, args=[pk]),
        lead="Holds on jobs stay until each is cleared on its job’s page.",
        submit="Let work go on",
    )


@require_http_methods(FORM_METHODS)
def close(request: Request, pk: int) -> HttpResponse:
    """Ask who acts once more, then close; with anything undone there is no form."""
    found = get_case_for(request.user, pk)
    require_decider(request.user)
    dossier = dossier_of(found)
    require_impartial(request.user, found, dossier.touched)
    undone = dossier.outstanding()
    if not found.is_open:
        undone = ["It is closed already."]
    form = CloseForm(request, None if undone else posted(request))
    if form.is_bound and accepted(form, lambda: _close(request, found, form)):
        return done(request, "The case is closed.", CASE, pk)
    context = {"case": found, "form": form, "undone": undone}
    status = 409 if undone and request.method == "POST" else 200
    status = 400 if form.is_bound else status
    return render(request, "evidence/close.html", context, status=status)


def _close(request: Request, found: Case, form: IdentityForm) -> None:
    services.close_case(
        case=found,
        words=form.cleaned_data["words"],
        identity=form.identity,
        acting_user=request.user,
    )
