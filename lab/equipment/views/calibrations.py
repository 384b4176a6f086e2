"""Pages of calibrations."""

from __future__ import annotations

from django.http import HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_http_methods, require_safe

from lab.accounts.http import Request
from lab.common.forms import accepted
from lab.common.pages import FORM_METHODS, done, posted
from lab.equipment import services
from lab.equipment.access import get_calibration_for, get_device_for
from lab.equipment.forms import CalibrationForm, labels_before
from lab.equipment.views.devices import DETAIL


@require_safe
def calibration(request: Request, pk: int) -> HttpResponse:
    found = get_calibration_for(request.user, pk)
    context = {"calibration": found, "values": found.values.all()}
    return render(request, "equipment/calibration.html", context)


@require_http_methods(FORM_METHODS)
def record_calibration(request: Request, tag: str) -> HttpResponse:
    found = get_device_for(request.user, tag)
    form = CalibrationForm(posted(request), before=labels_before(found))
    if request.method == "POST" and accepted(
        form,
        lambda: services.record_calibration(
            device=found, acting_user=request.user, **form.cleaned_data
        ),
    ):
        return done(request, "The calibration is recorded.", DETAIL, tag)
    context = {"form": form, "device": found}
    status = 400 if form.is_bound else 200
    return render(request, "equipment/calibration_form.html", context, status=status)
