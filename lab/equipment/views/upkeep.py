"""Pages that write a device's log and plan its maintenance."""

from __future__ import annotations

from django.http import HttpResponse
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_POST

from lab.accounts.http import Request
from lab.common import clock
from lab.common.forms import accepted
from lab.common.pages import FORM_METHODS, done, form_page, posted
from lab.equipment import services
from lab.equipment.access import get_device_for, get_task_for
from lab.equipment.forms import EventForm, MaintenanceForm
from lab.laboratory.selectors import home_zone

DETAIL = "equipment:detail"


@require_http_methods(FORM_METHODS)
def log(request: Request, tag: str) -> HttpResponse:
    found = get_device_for(request.user, tag)
    asked = {name: request.GET.get(name) for name in ("kind", "task")}
    form = EventForm(posted(request), device=found, initial={"at": clock.now()} | asked)
    if request.method == "POST" and accepted(
        form,
        lambda: services.log_event(
            device=found, acting_user=request.user, **form.cleaned_data
        ),
    ):
        return done(request, "It is in the log.", DETAIL, tag)
    return form_page(
        request,
        form,
        title=f"Log of {tag}",
        lead="What is logged stays: a mistake is put right by a further entry.",
        back=reverse(DETAIL, args=[tag]),
    )


@require_http_methods(FORM_METHODS)
def plan(request: Request, tag: str) -> HttpResponse:
    found = get_device_for(request.user, tag)
    today = clock.today(home_zone())
    form = MaintenanceForm(posted(request), initial={"first_due_on": today})
    if request.method == "POST" and accepted(
        form,
        lambda: services.plan_maintenance(
            device=found, acting_user=request.user, **form.cleaned_data
        ),
    ):
        return done(request, "It is planned.", DETAIL, tag)
    return form_page(
        request,
        form,
        title=f"Maintenance of {tag}",
        back=reverse(DETAIL, args=[tag]),
    )


@require_POST
def end_task(request: Request, tag: str, pk: int) -> HttpResponse:
    found = get_device_for(request.user, tag)
    task = get_task_for(request.user, found, pk)
    services.end_maintenance(task=task, acting_user=request.user)
    return done(request, f"“{task.title}” is off the plan.", DETAIL, tag)
