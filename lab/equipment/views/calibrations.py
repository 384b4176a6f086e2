"""Pages of calibrations: one as recorded, recording it, correcting it."""

from __future__ import annotations

from typing import Any

from django.http import Http404, HttpResponse, HttpResponseBase
from django.shortcuts import render
from django.views.decorators.http import require_http_methods, require_safe

from lab.accounts.http import Request
from lab.common.files.views import file_response
from lab.common.forms import accepted
from lab.common.pages import FORM_METHODS, done, posted
from lab.common.uploads import takes_upload
from lab.equipment import offered, services
from lab.equipment.access import get_calibration_for, get_device_for
from lab.equipment.forms import CalibrationForm, CorrectedCalibrationForm
from lab.equipment.models import Calibration, Device
from lab.equipment.proposals import proposal_for, rules
from lab.equipment.requirements import comparisons, requirement_of

SHOWN = "equipment:calibration"
WAITS = "The calibration is recorded. It counts when a person has accepted it."


@require_safe
def calibration(request: Request, pk: int) -> HttpResponse:
    found = get_calibration_for(request.user, pk)
    requirement = requirement_of(found.device)
    successor = Calibration.objects.filter(supersedes=found).first()
    context = {
        "calibration": found,
        "values": found.values.all(),
        "corrections": found.corrections.all(),
        "requirement": requirement,
        "comparisons": () if found.is_decided else comparisons(found, requirement),
        "successor": successor,
        "may_decide": request.user.may("calibrations.accept"),
        "may_correct": request.user.may("calibrations.record"),
    }
    return render(request, "equipment/calibration.html", context)


@require_safe
def document(request: Request, pk: int) -> HttpResponseBase:
    found = get_calibration_for(request.user, pk)
    if found.document is None:
        raise Http404("This calibration has no file.")
    return file_response(found.document)


@takes_upload("other")
@require_http_methods(FORM_METHODS)
def record_calibration(request: Request, tag: str) -> HttpResponse:
    found = get_device_for(request.user, tag)
    form = CalibrationForm(
        posted(request),
        request.FILES or None,
        proposal=proposal_for(found, rules().get(found.kind)),
        initial=offered.facts_before(found),
        **offered.rows_before(found),
    )
    return recorded_from(request, form, found)


@takes_upload("other")
@require_http_methods(FORM_METHODS)
def correct(request: Request, pk: int) -> HttpResponse:
    wrong = get_calibration_for(request.user, pk)
    form = CorrectedCalibrationForm(
        posted(request),
        request.FILES or None,
        proposal=proposal_for(wrong.device, rules().get(wrong.device.kind)),
        initial=offered.facts_of(wrong),
        **offered.rows_of(wrong),
    )
    return recorded_from(
        request, form, wrong.device, supersedes=wrong, document=wrong.document
    )


def recorded_from(
    request: Request, form: CalibrationForm, device: Device, **more: Any
) -> HttpResponse:
    """Record what a form says, or show it (again) with what is wrong."""
    made: list[Calibration] = []
    shown = {name: more.pop(name) for name in ("read", "left_out") if name in more}
    if request.method == "POST" and accepted(
        form,
        lambda: made.append(
            services.record_calibration(
                device=device, acting_user=request.user, **(form.cleaned_data | more)
            )
        ),
    ):
        return done(request, WAITS, SHOWN, made[0].pk)
    context = shown | {
        "form": form,
        "device": device,
        "wrong": more.get("supersedes"),
        "labels": offered.known_labels(device),
    }
    status = 400 if form.is_bound else 200
    return render(request, "equipment/calibration_form.html", context, status=status)
