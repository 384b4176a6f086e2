"""Pages of the register of devices."""

from __future__ import annotations

from django.http import HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_safe

from lab.accounts.http import Request
from lab.common import clock
from lab.common.forms import accepted
from lab.common.pages import FORM_METHODS, done, form_page, posted
from lab.equipment import services
from lab.equipment.access import devices_for, get_device_for
from lab.equipment.due import planned_for
from lab.equipment.forms import DeviceForm, NewDeviceForm, StatusForm
from lab.equipment.models import Device, DeviceKind
from lab.equipment.selectors import calibrations_in_force, events_of, standings
from lab.laboratory.selectors import home_zone

DETAIL = "equipment:detail"
#: So many lines of a device's log are shown; the record of changes has them all.
LOGGED = 100


@require_safe
def devices(request: Request) -> HttpResponse:
    kind = request.GET.get("kind", "")
    rows = devices_for(request.user)
    context = {
        "standings": standings(rows.filter(kind=kind) if kind else rows),
        "kinds": DeviceKind,
        "kind": kind,
        "may_change": request.user.may("equipment.change"),
    }
    return render(request, "equipment/list.html", context)


@require_safe
def device(request: Request, tag: str) -> HttpResponse:
    found = get_device_for(request.user, tag)
    context = {
        "standing": standings(Device.objects.filter(pk=found.pk))[0],
        "device": found,
        "calibrations": calibrations_in_force(found).select_related("acceptance"),
        "statuses": found.statuses.select_related("recorded_by"),
        "events": events_of(found)[:LOGGED],
        "planned": planned_for(found),
        "today": clock.today(home_zone()),
        "attachments": found.attachments.filter(removed_at=None).select_related("file"),
        "may_change": request.user.may("equipment.change"),
        "may_calibrate": request.user.may("calibrations.record"),
    }
    return render(request, "equipment/detail.html", context)


@require_http_methods(FORM_METHODS)
def add(request: Request) -> HttpResponse:
    form = NewDeviceForm(posted(request))
    made: list[Device] = []
    if request.method == "POST" and accepted(
        form,
        lambda: made.append(
            services.add_device(acting_user=request.user, **form.cleaned_data)
        ),
    ):
        return done(request, f"{made[0].tag} is in the register.", DETAIL, made[0].tag)
    return form_page(
        request, form, title="Add a device", back=reverse("equipment:list")
    )


@require_http_methods(FORM_METHODS)
def change(request: Request, tag: str) -> HttpResponse:
    found = get_device_for(request.user, tag)
    now = {name: getattr(found, name) for name in DeviceForm.base_fields}
    form = DeviceForm(posted(request), initial=now)
    if request.method == "POST" and accepted(
        form,
        lambda: services.change_device(
            device=found, acting_user=request.user, **form.cleaned_data
        ),
    ):
        return done(request, "The device is changed.", DETAIL, tag)
    return form_page(
        request, form, title=f"Change {tag}", back=reverse(DETAIL, args=[tag])
    )


@require_http_methods(FORM_METHODS)
def set_status(request: Request, tag: str) -> HttpResponse:
    found = get_device_for(request.user, tag)
    form = StatusForm(posted(request), initial={"at": clock.now()})
    if request.method == "POST" and accepted(
        form,
        lambda: services.set_status(
            device=found, acting_user=request.user, **form.cleaned_data
        ),
    ):
        return done(request, "The status is set.", DETAIL, tag)
    return form_page(
        request, form, title=f"Status of {tag}", back=reverse(DETAIL, args=[tag])
    )
