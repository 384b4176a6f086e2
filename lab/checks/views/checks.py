"""One check: recorded beside the machine, shown, declared void, confirmed."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from django.http import Http404, HttpResponse
from django.http.response import HttpResponseBase
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
from lab.checks.models import ArtefactCheck, MeasuringSystem
from lab.checks.shown import shown_readings
from lab.checks.sources import Source, source_in, source_of
from lab.common.errors import NotAcceptable
from lab.common.files.views import file_response
from lab.common.forms import accepted
from lab.common.pages import FORM_METHODS, done, form_page, posted
from lab.common.uploads import takes_upload

DETAIL = "checks:detail"
RECORD = "checks/record.html"


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
    status = 400 if form.is_bound else 200
    return render(request, RECORD, _form_context(form, system), status=status)


@takes_upload("other")
@require_POST
def read_file(request: Request, pk: int, code: str) -> HttpResponse:
    """Fill the form's readings from a file; the check itself is recorded after."""
    system = get_system_for(request.user, pk)
    revision = get_revision_for(request.user, system, code)
    form = CheckForm(request.POST, request.FILES, revision=revision)
    form.errors.clear()
    try:
        form = form.filled_from(_source_kept(request, form))
    except NotAcceptable as refusal:
        form.add_error("points", refusal.sentence)
        return render(request, RECORD, _form_context(form, system), status=400)
    context = _form_context(form, system) | _verdicts(form)
    form.errors.clear()
    return render(request, RECORD, context)


def _source_kept(request: Request, form: CheckForm) -> Source:
    upload = request.FILES.get("points")
    if upload is None:
        raise NotAcceptable("Choose a file first.")
    source = source_in(upload, form.revision, form.unit)
    kept = services.keep_source(upload=upload, acting_user=request.user)
    return replace(source, file=kept)


@require_POST
def try_verdicts(request: Request, pk: int, code: str) -> HttpResponse:
    """Say what the readings typed so far would come to; nothing is stored."""
    system = get_system_for(request.user, pk)
    revision = get_revision_for(request.user, system, code)
    form = CheckForm(request.POST, revision=revision)
    context = _form_context(form, system) | _verdicts(form)
    page = f"{RECORD}#verdicts" if request.htmx else RECORD
    return render(request, page, context | {"is_part": request.htmx})


def _form_context(form: CheckForm, system: MeasuringSystem) -> dict[str, Any]:
    return {
        "form": form,
        "system": system,
        "revision": form.revision,
        "rows": [(field, None) for field in form.position_fields],
        "source": _source_shown(form),
    }


def _source_shown(form: CheckForm) -> Source | None:
    said = form.data.get("source", "") if form.is_bound else ""
    try:
        return source_of(said, form.revision) if said else None
    except NotAcceptable:
        return None  # the form says so itself


def _verdicts(form: CheckForm) -> dict[str, Any]:
    try:
        judged = form.so_far()
    except NotAcceptable as refusal:
        return {"refusal": refusal.sentence}
    shown = shown_readings(judged.readings(form.cleaned_data["readings"]))
    by_name = {one.position: one for one in shown}
    failed = [one.position for one in shown if not one.passed]
    return {
        "rows": [
            (form[field], by_name.get(name)) for field, name in form.positions.items()
        ],
        "count": len(shown),
        "of": len(form.positions),
        "failed": failed,
    }


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


@require_safe
def source(request: Request, pk: int) -> HttpResponseBase:
    """Hand out the file that a check's readings were read from."""
    found = get_check_for(request.user, pk)
    if found.source is None:
        raise Http404("The check has no file.")
    return file_response(found.source)


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
