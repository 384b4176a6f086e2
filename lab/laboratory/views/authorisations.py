"""Who is authorised for what, and who stands in for whom."""

from __future__ import annotations

from django.http import Http404, HttpResponse, HttpResponseBase
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import (
    require_GET,
    require_http_methods,
    require_POST,
)

from lab.accounts.http import Request
from lab.common import clock
from lab.common.files.views import file_response
from lab.common.forms import accepted
from lab.common.pages import FORM_METHODS, done, form_page, posted
from lab.common.uploads import takes_upload
from lab.laboratory import services
from lab.laboratory.access import get_authorisation_for, get_deputation_for
from lab.laboratory.forms import AuthorisationForm, DeputyForm, ReasonForm
from lab.laboratory.matrix import authority
from lab.laboratory.models import Activity
from lab.laboratory.selectors import current_and_coming_deputations, home_zone

MATRIX = "laboratory:authorisations"


@require_GET
def authorisations(request: Request) -> HttpResponse:
    at, zone = clock.now(), home_zone()
    context = {
        "tables": authority(at, zone),
        "activities": Activity,
        "deputations": current_and_coming_deputations(at, zone),
        "may_grant": request.user.may("authorisations.grant"),
    }
    return render(request, "laboratory/authorisations.html", context)


@require_GET
def authorisation(request: Request, pk: int) -> HttpResponse:
    context = {
        "authorisation": get_authorisation_for(request.user, pk),
        "may_grant": request.user.may("authorisations.grant"),
    }
    return render(request, "laboratory/authorisation.html", context)


@require_GET
def evidence(request: Request, pk: int) -> HttpResponseBase:
    stored = get_authorisation_for(request.user, pk).evidence_file
    if stored is None:
        raise Http404("No document was given with this authorisation.")
    return file_response(stored)


@takes_upload("other")
@require_http_methods(FORM_METHODS)
def grant(request: Request) -> HttpResponse:
    begin = {"valid_from": clock.today(home_zone())} | request.GET.dict()
    form = AuthorisationForm(posted(request), request.FILES or None, initial=begin)
    if request.method == "POST" and accepted(
        form,
        lambda: services.grant_authorisation(
            acting_user=request.user, **form.content()
        ),
    ):
        return done(request, "The authorisation is granted.", MATRIX)
    return form_page(
        request,
        form,
        title="Authorise somebody",
        back=reverse(MATRIX),
        submit="Authorise",
        lead="It counts from its first day, and never before it is granted here.",
    )


@require_http_methods(FORM_METHODS)
def revoke(request: Request, pk: int) -> HttpResponse:
    found = get_authorisation_for(request.user, pk)
    form = ReasonForm(posted(request))
    if request.method == "POST" and accepted(
        form,
        lambda: services.revoke_authorisation(
            authorisation=found, acting_user=request.user, **form.cleaned_data
        ),
    ):
        return done(request, "The authorisation is revoked.", MATRIX)
    return form_page(
        request,
        form,
        title=f"Revoke: {found}",
        back=reverse("laboratory:authorisation", args=[pk]),
        lead="It ends now. Work that was done under it stays authorised.",
        submit="Revoke",
        danger=True,
    )


@require_http_methods(FORM_METHODS)
def name_deputy(request: Request) -> HttpResponse:
    begin = {"valid_from": clock.today(home_zone())}
    form = DeputyForm(posted(request), initial=begin)
    if request.method == "POST" and accepted(
        form,
        lambda: services.name_deputy(acting_user=request.user, **form.cleaned_data),
    ):
        return done(request, "The deputy is named.", MATRIX)
    return form_page(
        request,
        form,
        title="Name a deputy",
        back=reverse(MATRIX),
        lead="A deputy may review and authorise what the other may. Measuring and "
        "evaluating are each person's own skill and can't be stood in for.",
    )


@require_POST
def end_deputation(request: Request, pk: int) -> HttpResponse:
    found = get_deputation_for(request.user, pk)
    services.end_deputation(deputation=found, acting_user=request.user)
    return done(request, f"{found.deputy} stands in no longer.", MATRIX)
