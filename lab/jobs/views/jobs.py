"""The list of jobs, booking, contract review, cancelling."""

from __future__ import annotations

from django.http import HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_safe

from lab.accounts.http import Request
from lab.common import clock
from lab.common.forms import accepted
from lab.common.pages import FORM_METHODS, done, form_page, numbered_page, posted
from lab.customers.models import Customer
from lab.jobs import services
from lab.jobs.access import get_job_for, jobs_for
from lab.jobs.forms import AgreementForm, BookingForm, CustomerChoice, ReasonForm
from lab.jobs.models import Job, JobState
from lab.jobs.selectors import agreement_in_force, jobs_like
from lab.laboratory.selectors import home_zone

JOB = "board:job"


@require_safe
def jobs(request: Request) -> HttpResponse:
    said, state = request.GET.get("q", "").strip(), request.GET.get("state", "")
    rows = jobs_like(jobs_for(request.user), said, state)
    context = {
        "page": numbered_page(rows, request.GET.get("page")),
        "q": said,
        "state": state,
        "states": JobState,
        "may_book": request.user.may("jobs.book"),
    }
    return render(request, "jobs/list.html", context)


@require_http_methods(FORM_METHODS)
def book(request: Request) -> HttpResponse:
    key = request.GET.get("customer", "")
    if not key.isdecimal():
        context = {"form": CustomerChoice()}
        return render(request, "jobs/choose_customer.html", context)
    customer = get_object_or_404(Customer, pk=int(key), in_use=True)
    form = BookingForm(posted(request), customer=customer)
    made: list[Job] = []
    if request.method == "POST" and accepted(
        form,
        lambda: made.append(
            services.book_job(
                customer=customer, acting_user=request.user, **form.cleaned_data
            )
        ),
    ):
        sentence = f"{made[0].number} is booked. Now record what was agreed."
        return done(request, sentence, "jobs:agree", made[0].number)
    title = f"Book a job for {customer.name}"
    return form_page(request, form, title=title, back=reverse("jobs:book"))


@require_http_methods(FORM_METHODS)
def agree(request: Request, number: str) -> HttpResponse:
    job = get_job_for(request.user, number)
    form = AgreementForm(posted(request), job=job, initial=_as_agreed(job))
    if request.method == "POST" and accepted(
        form,
        lambda: services.record_agreement(
            job=job, acting_user=request.user, **form.cleaned_data
        ),
    ):
        return done(request, "The contract review is recorded.", JOB, number)
    return form_page(
        request,
        form,
        title=f"Contract review of {number}",
        back=reverse(JOB, args=[number]),
        lead="What was agreed before the work, by whom and when. A later review "
        "replaces this one; results decided before stay as they are.",
    )


@require_http_methods(FORM_METHODS)
def cancel(request: Request, number: str) -> HttpResponse:
    job = get_job_for(request.user, number)
    form = ReasonForm(posted(request))
    if request.method == "POST" and accepted(
        form,
        lambda: services.cancel_job(
            job=job, acting_user=request.user, **form.cleaned_data
        ),
    ):
        return done(request, f"{number} is cancelled.", JOB, number)
    return form_page(
        request,
        form,
        title=f"Cancel {number}",
        back=reverse(JOB, args=[number]),
        submit="Cancel the job",
        danger=True,
    )


def _as_agreed(job: Job) -> dict[str, object]:
    """Start a review from the one before, or from what was booked."""
    start: dict[str, object] = {
        "part_revision": job.part_revision,
        "agreed_with": job.contact,
        "agreed_on": clock.today(home_zone()),
    }
    before = agreement_in_force(job)
    if before is not None:
        kept = ("asked", "method", "rule", "burden", "sampling")
        start |= {name: getattr(before, name) for name in kept}
    return start
