"""Pages on which a person says what is required, and decides on a calibration."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from django.http import HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_http_methods

from lab.accounts.http import Request
from lab.common.forms import accepted
from lab.common.pages import FORM_METHODS, done, form_page, posted
from lab.equipment import services
from lab.equipment.access import get_calibration_for, get_device_for
from lab.equipment.forms import (
    ACCEPT,
    DecisionForm,
    RequirementForm,
    SensorRequirementForm,
)
from lab.equipment.models import Device
from lab.equipment.offered import is_sensor
from lab.equipment.requirements import comparisons, requirement_of
from lab.equipment.views.calibrations import SHOWN


@require_http_methods(FORM_METHODS)
def decide(request: Request, pk: int) -> HttpResponse:
    found = get_calibration_for(request.user, pk)
    form = DecisionForm(posted(request))
    if request.method == "POST" and accepted(form, lambda: _decided(request, pk, form)):
        return done(request, "The decision is recorded.", SHOWN, pk)
    requirement = requirement_of(found.device)
    context = {
        "calibration": found,
        "form": form,
        "requirement": requirement,
        "comparisons": comparisons(found, requirement),
    }
    status = 400 if form.is_bound else 200
    return render(request, "equipment/decide.html", context, status=status)


def _decided(request: Request, pk: int, form: DecisionForm) -> None:
    is_accepted = form.cleaned_data["decision"] == ACCEPT
    act = services.accept_calibration if is_accepted else services.reject_calibration
    act(
        calibration=get_calibration_for(request.user, pk),
        words=form.cleaned_data["words"],
        acting_user=request.user,
    )


@require_http_methods(FORM_METHODS)
def require(request: Request, tag: str) -> HttpResponse:
    found = get_device_for(request.user, tag)
    kind = SensorRequirementForm if is_sensor(found) else RequirementForm
    now = _required_now(found, kind.base_fields)
    form = kind(posted(request), initial=now)
    if request.method == "POST" and accepted(
        form,
        lambda: services.set_requirement(
            device=found, acting_user=request.user, **form.cleaned_data
        ),
    ):
        return done(request, "The requirement is set.", "equipment:detail", tag)
    return form_page(
        request,
        form,
        title=f"What is required of {tag}",
        lead="Each calibration is compared with it before a person accepts it.",
        back=reverse("equipment:detail", args=[tag]),
    )


def _required_now(device: Device, names: Iterable[str]) -> dict[str, Any]:
    present = requirement_of(device)
    return {name: getattr(present, name) for name in names} if present else {}
