"""One check: recorded beside the machine, shown, declared void, confirmed."""

from __future__ import annotations

from typing import Any

from django.http import HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import (
    require_http_methods,
    require_POST,
    require_safe,
)

from lab.accounts.http import Request
from lab.checks import services
from lab.checks.access import get_check_for, get_revision_for, get_system_for
from lab.checks.forms import CheckForm, ConfirmForm, VoidForm
from lab.checks.forms.checks import start_values
from lab.checks.models import ArtefactCheck
from lab.checks.shown import shown_readings
from lab.common.errors import NotAcceptable
from lab.common.forms import accepted
from lab.common.pages import FORM_METHODS, done, form_page, posted

DETAIL = "checks:detail"


@require_http_methods(FORM_METHODS)
def record(request: Request, pk: int, code: str) -> HttpResponse:
    system = get_system_for(request.user, pk)
    revision = get_revision_for(request.user, system, code)
    start = start_values(system, revision)
    form = CheckForm(posted(request), revision=revision, initial=start)
    made: list[ArtefactCheck] = []
    if request.method == "POST" and accepted(
        form,
        lambda: made.append(
            services.record_check(
                system=system, acting_user=request.user, **form.cleaned_data
            )
        ),
    ):
        return done(request, f"Recorded. {made[0].reason}", DETAIL, made[0].pk)
    context = {"form": form, "system": system, "revision": revision}
    status = 400 if form.is_bound else 200
    return render(request, "checks/record.html", context, status=status)


@require_POST
def try_verdicts(request: Request, pk: int, code: str) -> HttpResponse:
    """Say what the readings typed so far would come to; nothing is stored."""
    system = get_system_for(request.user, pk)
    revision = get_revision_for(request.user, system, code)
    form = CheckForm(request.POST, revision=revision)
    context = {"form": form, "system": system, "revision": revision} | _verdicts(form)
    page = "checks/record.html"
    return render(request, f"{page}#verdicts" if request.htmx else page, context)


def _verdicts(form: CheckForm) -> dict[str, Any]:
    try:
        judged = form.so_far()
    except NotAcceptable as refusal:
        return {"refusal": refusal.sentence}
    readings = judged.readings(form.cleaned_data["readings"])
    return {"verdicts": shown_readings(readings)}


@require_safe
def check(request: Request, pk: int) -> HttpResponse:
    found = get_check_for(request.user, pk)
    user = request.user
    void_action = "checks.void" if found.passed else "checks.void_fail"
    context = {
        "check": found,
        "readings": shown_readings(found.readings.all()),
        "may_void": user.may(void_action) and not found.is_void,
        "may_confirm": user.may("checks.record")
        and found.awaits_confirmation
        and found.measured_by_id != user.pk,
    }
    return render(request, "checks/detail.html", context)


@require_http_methods(FORM_METHODS)
def void(request: Request, pk: int) -> HttpResponse:
    found = get_check_for(request.user, pk)
    form = VoidForm(posted(request), check=found)
    if request.method == "POST" and accepted(
        form,
        lambda: services.void_check(
            check=found, acting_user=request.user, **form.cleaned_data
        ),
    ):
        return done(request, "The check is void and counts for nothing.", DETAIL, pk)
    return form_page(
        request,
        form,
        title="Declare this check void",
        back=reverse(DETAIL, args=[pk]),
        lead="It stays in the record. What leaned on it is judged again at once.",
        submit="Declare it void",
        danger=True,
    )


@require_http_methods(FORM_METHODS)
def confirm(request: Request, pk: int) -> HttpResponse:
    found = get_check_for(request.user, pk)
    form = ConfirmForm(posted(request))
    if request.method == "POST" and accepted(
        form,
        lambda: services.confirm_late_check(
            check=found, acting_user=request.user, **form.cleaned_data
        ),
    ):
        return done(request, "The check is confirmed and counts.", DETAIL, pk)
    return form_page(
        request,
        form,
        title="Confirm a late check",
        back=reverse(DETAIL, args=[pk]),
        lead=f"{found.measured_by} measured it; it was entered more than half an hour "
        "later. Confirm it only if you know that it was measured as recorded.",
        submit="Confirm",
    )
