"""Methods and their revisions."""

from __future__ import annotations

from django.http import HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_GET, require_http_methods

from lab.accounts.http import Request
from lab.common import clock
from lab.common.forms import accepted
from lab.common.pages import FORM_METHODS, done, form_page, posted
from lab.laboratory import services
from lab.laboratory.access import get_method_for, get_revision_for
from lab.laboratory.forms import MethodForm, ReasonForm, RevisionForm, TitleForm
from lab.laboratory.matrix import authority
from lab.laboratory.selectors import home_zone
from lab.laboratory.standing import method_standings, standing_of


@require_GET
def methods(request: Request) -> HttpResponse:
    context = {
        "standings": method_standings(clock.now()),
        "may_revise": request.user.may("methods.revise"),
    }
    return render(request, "laboratory/methods.html", context)


@require_GET
def method(request: Request, code: str) -> HttpResponse:
    found = get_method_for(request.user, code)
    at, zone = clock.now(), home_zone()
    context = {
        "method": found,
        "standing": standing_of(found, at, zone),
        "table": authority(at, zone, found)[0],
        "may_revise": request.user.may("methods.revise"),
        "may_grant": request.user.may("authorisations.grant"),
    }
    return render(request, "laboratory/method.html", context)


@require_GET
def revision(request: Request, pk: int) -> HttpResponse:
    found = get_revision_for(request.user, pk)
    rows = standing_of(found.method, clock.now(), home_zone()).rows
    context = {
        "revision": found,
        "row": next(row for row in rows if row.revision == found),
        "may_revise": request.user.may("methods.revise"),
    }
    return render(request, "laboratory/revision.html", context)


@require_http_methods(FORM_METHODS)
def start_method(request: Request) -> HttpResponse:
    form = MethodForm(posted(request))
    if request.method == "POST" and accepted(
        form,
        lambda: services.start_method(**form.cleaned_data, acting_user=request.user),
    ):
        code = form.cleaned_data["code"]
        sentence = "The method is begun. Record its first revision next."
        return done(request, sentence, "laboratory:method", code)
    return form_page(
        request, form, title="A new method", back=reverse("laboratory:methods")
    )


@require_http_methods(FORM_METHODS)
def change_title(request: Request, code: str) -> HttpResponse:
    found = get_method_for(request.user, code)
    form = TitleForm(posted(request), initial={"title": found.title})
    if request.method == "POST" and accepted(
        form,
        lambda: services.change_method_title(
            method=found, acting_user=request.user, **form.cleaned_data
        ),
    ):
        return done(request, "The title is changed.", "laboratory:method", code)
    back = reverse("laboratory:method", args=[code])
    return form_page(request, form, title=f"Title of {code}", back=back)


@require_http_methods(FORM_METHODS)
def revise_method(request: Request, code: str) -> HttpResponse:
    found = get_method_for(request.user, code)
    begin = {"valid_from": clock.today(home_zone())}
    last = found.revisions.order_by("pk").last()
    form = RevisionForm(posted(request), last=last, initial=begin)
    if request.method == "POST" and accepted(
        form,
        lambda: services.record_method_revision(
            method=found, acting_user=request.user, **form.content()
        ),
    ):
        return done(request, "The revision is recorded.", "laboratory:method", code)
    return form_page(
        request,
        form,
        title=f"A new revision of {code}",
        back=reverse("laboratory:method", args=[code]),
        template="laboratory/revise.html",
    )


@require_http_methods(FORM_METHODS)
def withdraw_revision(request: Request, pk: int) -> HttpResponse:
    found = get_revision_for(request.user, pk)
    form = ReasonForm(posted(request))
    if request.method == "POST" and accepted(
        form,
        lambda: services.withdraw_method_revision(
            revision=found, acting_user=request.user, **form.cleaned_data
        ),
    ):
        code = found.method.code
        return done(request, f"{found} is withdrawn.", "laboratory:method", code)
    return form_page(
        request,
        form,
        title=f"Withdraw {found}",
        back=reverse("laboratory:revision", args=[pk]),
        lead="Nothing more is measured to it. An older revision does not come back.",
        submit="Withdraw",
        danger=True,
    )
