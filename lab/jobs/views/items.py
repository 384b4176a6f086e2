"""Items received, found to be so warm, returned."""

from __future__ import annotations

from django.http import HttpResponse
from django.urls import reverse
from django.views.decorators.http import require_http_methods

from lab.accounts.http import Request
from lab.common import clock
from lab.common.forms import accepted
from lab.common.pages import FORM_METHODS, done, form_page, posted
from lab.jobs import services
from lab.jobs.access import get_item_for, get_job_for
from lab.jobs.forms import (
    BodyForm,
    PartTemperatureForm,
    ReceiptForm,
    ReturnForm,
    body_starts_with,
)
from lab.jobs.selectors import open_session

JOB = "board:job"


@require_http_methods(FORM_METHODS)
def receive(request: Request, pk: int) -> HttpResponse:
    item = get_item_for(request.user, pk)
    start = {"at": clock.now()} | body_starts_with(item)
    form = ReceiptForm(posted(request), initial=start)
    if request.method == "POST" and accepted(
        form,
        lambda: services.receive_item(
            item=item, acting_user=request.user, **form.cleaned_data
        ),
    ):
        return done(request, f"{item.serial} is received.", JOB, item.job.number)
    return form_page(
        request,
        form,
        title=f"Receive {item.serial}",
        back=reverse(JOB, args=[item.job.number]),
        submit="Receive",
        big=True,
    )


@require_http_methods(FORM_METHODS)
def temperature(request: Request, number: str) -> HttpResponse:
    job = get_job_for(request.user, number)
    form = PartTemperatureForm(
        posted(request), job=job, initial={"at": clock.now(), "item": job.items.first()}
    )
    if request.method == "POST" and accepted(
        form,
        lambda: services.record_part_temperature(
            session=open_session(job), acting_user=request.user, **form.cleaned_data
        ),
    ):
        return done(request, "The temperature is recorded.", JOB, number)
    back = reverse(JOB, args=[number])
    return form_page(request, form, title="Part temperature", back=back, big=True)


@require_http_methods(FORM_METHODS)
def body(request: Request, pk: int) -> HttpResponse:
    item = get_item_for(request.user, pk)
    form = BodyForm(posted(request), initial=body_starts_with(item))
    if request.method == "POST" and accepted(
        form,
        lambda: services.record_item_body(
            item=item, acting_user=request.user, **form.cleaned_data
        ),
    ):
        return done(request, "The soak is predicted from it.", JOB, item.job.number)
    return form_page(
        request,
        form,
        title=f"How {item.serial} takes up the room's temperature",
        back=reverse(JOB, args=[item.job.number]),
        lead="Mass, material, and the thickness of its walls or its surface.",
    )


@require_http_methods(FORM_METHODS)
def return_item(request: Request, pk: int) -> HttpResponse:
    item = get_item_for(request.user, pk)
    form = ReturnForm(posted(request), initial={"at": clock.now()})
    if request.method == "POST" and accepted(
        form,
        lambda: services.return_item(
            item=item, acting_user=request.user, **form.cleaned_data
        ),
    ):
        return done(request, f"{item.serial} is returned.", JOB, item.job.number)
    return form_page(
        request,
        form,
        title=f"Return {item.serial}",
        back=reverse(JOB, args=[item.job.number]),
        submit="Hand over",
        lead="Targets come off and the part is cleaned before it leaves.",
    )
