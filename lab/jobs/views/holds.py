"""Holds raised and cleared by people."""

from __future__ import annotations

from uuid import uuid4

from django.http import HttpResponse
from django.urls import reverse
from django.views.decorators.http import require_http_methods

from lab.accounts.http import Request
from lab.common.forms import accepted
from lab.common.pages import FORM_METHODS, done, form_page, posted
from lab.jobs import services
from lab.jobs.access import get_hold_for, get_job_for
from lab.jobs.forms import ClearForm, HoldForm

JOB = "board:job"


@require_http_methods(FORM_METHODS)
def raise_hold(request: Request, number: str) -> HttpResponse:
    job = get_job_for(request.user, number)
    form = HoldForm(posted(request))
    if request.method == "POST" and accepted(
        form,
        lambda: services.raise_hold(
            job=job,
            cause_key=f"by hand;{uuid4()}",
            acting_user=request.user,
            **form.cleaned_data,
        ),
    ):
        return done(request, f"{number} is on hold.", JOB, number)
    return form_page(
        request, form, title=f"Hold {number}", back=reverse(JOB, args=[number])
    )


@require_http_methods(FORM_METHODS)
def clear(request: Request, pk: int) -> HttpResponse:
    hold = get_hold_for(request.user, pk)
    form = ClearForm(posted(request))
    if request.method == "POST" and accepted(
        form,
        lambda: services.clear_hold(
            hold=hold, acting_user=request.user, **form.cleaned_data
        ),
    ):
        return done(request, "The hold is cleared.", JOB, hold.job.number)
    return form_page(
        request,
        form,
        title=f"Clear: {hold.title}",
        back=reverse(JOB, args=[hold.job.number]),
        lead=hold.reason,
        submit="Clear the hold",
    )
