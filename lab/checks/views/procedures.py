"""Check procedures and their revisions."""

from __future__ import annotations

from django.http import HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_safe

from lab.accounts.http import Request
from lab.checks import services
from lab.checks.access import get_procedure_for
from lab.checks.forms import ProcedureChangeForm, ProcedureForm, RevisionForm
from lab.checks.forms.procedures import revision_title
from lab.checks.models import CheckProcedure
from lab.checks.selectors import (
    needs_of,
    newest_revision,
    procedures_with_revisions,
)
from lab.common import clock
from lab.common.forms import accepted
from lab.common.pages import FORM_METHODS, done, form_page, posted

PROCEDURE = "checks:procedure"


@require_safe
def listed(request: Request) -> HttpResponse:
    context = {
        "procedures": procedures_with_revisions(),
        "may_revise": request.user.may("procedures.revise"),
    }
    return render(request, "checks/procedures.html", context)


@require_safe
def procedure(request: Request, code: str) -> HttpResponse:
    found = get_procedure_for(request.user, code)
    revisions = list(found.revisions.select_related("artefact", "recorded_by"))
    context = {
        "procedure": found,
        "needs": needs_of(found, clock.now()),
        "newest": revisions[0] if revisions else None,
        "revisions": revisions,
        "may_revise": request.user.may("procedures.revise"),
    }
    return render(request, "checks/procedure.html", context)


@require_http_methods(FORM_METHODS)
def add(request: Request) -> HttpResponse:
    form = ProcedureForm(posted(request))
    made: list[CheckProcedure] = []
    if request.method == "POST" and accepted(
        form,
        lambda: made.append(
            services.add_procedure(acting_user=request.user, **form.cleaned_data)
        ),
    ):
        sentence = f"{made[0].code} is started. Say now how it is done."
        return done(request, sentence, "checks:revise", made[0].code)
    back = reverse("checks:procedures")
    return form_page(request, form, title="Start a check procedure", back=back)


@require_http_methods(FORM_METHODS)
def change(request: Request, code: str) -> HttpResponse:
    found = get_procedure_for(request.user, code)
    needing = [need.system for need in needs_of(found, clock.now())]
    now = {"title": found.title, "systems": needing}
    form = ProcedureChangeForm(posted(request), initial=now)
    if request.method == "POST" and accepted(
        form,
        lambda: services.change_procedure(
            procedure=found, acting_user=request.user, **form.cleaned_data
        ),
    ):
        return done(request, "The procedure is changed.", PROCEDURE, code)
    back = reverse(PROCEDURE, args=[code])
    return form_page(request, form, title=f"Change {code}", back=back)


@require_http_methods(FORM_METHODS)
def revise(request: Request, code: str) -> HttpResponse:
    found = get_procedure_for(request.user, code)
    before = newest_revision(found)
    form = RevisionForm(posted(request), before=before)
    if request.method == "POST" and accepted(
        form,
        lambda: services.revise_procedure(
            procedure=found, acting_user=request.user, **form.cleaned_data
        ),
    ):
        sentence = "The revision counts from now on."
        return done(request, sentence, PROCEDURE, code)
    return form_page(
        request,
        form,
        title=revision_title(found, before),
        back=reverse(PROCEDURE, args=[code]),
        lead="Checks that were done stay judged by the revision that they followed.",
        template="checks/revise.html",
    )
