"""Pages of results: typed in a grid, shown with their verdicts, corrected."""

from __future__ import annotations

from typing import Final

from django.http import Http404, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import (
    require_http_methods,
    require_POST,
    require_safe,
)

from lab.accounts.http import Request
from lab.common.errors import NotAcceptable
from lab.common.forms import accepted
from lab.common.pages import FORM_METHODS, done, form_page, posted
from lab.inspections import services
from lab.inspections.access import get_result_for
from lab.inspections.forms import CorrectionForm, ResultsForm
from lab.inspections.grids import grid_for, start_values
from lab.inspections.selectors import (
    details_of,
    history_of,
    missing_results,
    shown_results,
)
from lab.jobs.access import get_job_for
from lab.jobs.models import Job
from lab.jobs.selectors import agreement_in_force

JOB: Final = "board:job"


@require_safe
def results(request: Request, number: str) -> HttpResponse:
    job = get_job_for(request.user, number)
    agreement = agreement_in_force(job)
    context = {
        "job": job,
        "agreement": agreement,
        "results": shown_results(job),
        "missing": missing_results(job),
        "may_record": request.user.may("results.record"),
    }
    return render(request, "inspections/results.html", context)


@require_http_methods(FORM_METHODS)
def record(request: Request, number: str) -> HttpResponse:
    job = get_job_for(request.user, number)
    grid = grid_for(job, request.GET.get("item", ""))
    start = start_values(job, request.user)
    form = ResultsForm(posted(request), job=job, wanted=grid.wanted, initial=start)
    if request.method == "POST" and accepted(
        form,
        lambda: services.record_results(
            job=job, acting_user=request.user, **form.cleaned_data
        ),
    ):
        count = len(form.cleaned_data["entries"])
        sentence = f"{count} result{'' if count == 1 else 's'} recorded and decided."
        return done(request, sentence, "inspections:results", number)
    context = {"job": job, "form": form, "grid": grid}
    status = 400 if form.is_bound else 200
    return render(request, "inspections/record.html", context, status=status)


@require_POST
def try_verdict(request: Request, number: str) -> HttpResponse:
    """Say what one row would mean; nothing is stored."""
    job = get_job_for(request.user, number)
    grid = grid_for(job, request.GET.get("item", ""))
    form = ResultsForm(request.POST, job=job, wanted=grid.wanted)
    row = form.row_named(request.POST.get("row", ""))
    if row is None:
        raise Http404("There is no such row.")
    context: dict[str, object] = {"row": row}
    try:
        context["verdict"] = form.verdict_of(row)
    except NotAcceptable as refusal:
        context["refusal"] = refusal.sentence
    return render(request, "inspections/record.html#verdict", context)


@require_safe
def result(request: Request, pk: int) -> HttpResponse:
    found = get_result_for(request.user, pk)
    decisions = found.decisions.select_related("agreement__rule__rule").order_by("-pk")
    context = {
        "result": found,
        "job": found.job,
        "decisions": [(one, details_of(one)) for one in decisions],
        "earlier": history_of(found)[1:],
        "later": getattr(found, "superseded_by", None),
        "may_correct": request.user.may("results.record"),
    }
    return render(request, "inspections/result.html", context)


@require_http_methods(FORM_METHODS)
def correct(request: Request, pk: int) -> HttpResponse:
    found = get_result_for(request.user, pk)
    form = CorrectionForm(posted(request), result=found)
    made = []
    if request.method == "POST" and accepted(
        form,
        lambda: made.append(
            services.correct_result(
                result=found, acting_user=request.user, **form.cleaned_data
            )
        ),
    ):
        return done(
            request, "The value is corrected.", "inspections:detail", made[0].pk
        )
    return form_page(
        request,
        form,
        title=f"Correct {found.item}, characteristic {found.characteristic.number}",
        back=reverse("inspections:detail", args=[pk]),
        lead="The old value is kept beside it. A certificate that states the old one "
        "stays as it is until it is amended.",
        submit="Correct",
    )


@require_POST
def decide_anew(request: Request, number: str) -> HttpResponse:
    job = get_job_for(request.user, number)
    made = services.decide_anew(job=job, acting_user=request.user)
    count = len(made)
    sentence = f"{count} result{'' if count == 1 else 's'} decided anew."
    return done(request, sentence, "inspections:results", number)


@require_POST
def finish(request: Request, number: str) -> HttpResponse:
    job: Job = get_job_for(request.user, number)
    services.finish_evaluation(job=job, acting_user=request.user)
    return done(request, f"The evaluation of {number} is finished.", JOB, number)
