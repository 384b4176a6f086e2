"""Measuring sessions: started, paused, resumed, ended, their times corrected."""

from __future__ import annotations

from django.http import HttpResponse
from django.urls import reverse
from django.views.decorators.http import require_http_methods

from lab.accounts.http import Request
from lab.common import clock
from lab.common.forms import accepted
from lab.common.pages import FORM_METHODS, done, form_page, posted
from lab.jobs import services
from lab.jobs.access import get_event_for, get_job_for, get_session_for
from lab.jobs.forms import CorrectionForm, MomentForm, PauseForm, StartForm
from lab.jobs.selectors import items_here

JOB = "board:job"


@require_http_methods(FORM_METHODS)
def start(request: Request, number: str) -> HttpResponse:
    job = get_job_for(request.user, number)
    begin = {"at": clock.now(), "items": items_here(job)}
    form = StartForm(posted(request), job=job, initial=begin)
    if request.method == "POST" and accepted(
        form,
        lambda: services.start_session(
            job=job, acting_user=request.user, **form.cleaned_data
        ),
    ):
        return done(request, "The session runs.", JOB, number)
    back = reverse(JOB, args=[number])
    return form_page(
        request, form, title="Start measuring", back=back, submit="Start", big=True
    )


@require_http_methods(FORM_METHODS)
def pause(request: Request, pk: int) -> HttpResponse:
    session = get_session_for(request.user, pk)
    form = PauseForm(posted(request), initial={"at": clock.now()})
    if request.method == "POST" and accepted(
        form,
        lambda: services.pause_session(
            session=session, acting_user=request.user, **form.cleaned_data
        ),
    ):
        return done(request, "The session is paused.", JOB, session.job.number)
    back = reverse(JOB, args=[session.job.number])
    return form_page(request, form, title="Pause", back=back, submit="Pause", big=True)


@require_http_methods(FORM_METHODS)
def resume(request: Request, pk: int) -> HttpResponse:
    session = get_session_for(request.user, pk)
    form = MomentForm(posted(request), initial={"at": clock.now()})
    if request.method == "POST" and accepted(
        form,
        lambda: services.resume_session(
            session=session, acting_user=request.user, **form.cleaned_data
        ),
    ):
        return done(request, "The session runs again.", JOB, session.job.number)
    back = reverse(JOB, args=[session.job.number])
    return form_page(
        request, form, title="Resume", back=back, submit="Resume", big=True
    )


@require_http_methods(FORM_METHODS)
def end(request: Request, pk: int) -> HttpResponse:
    session = get_session_for(request.user, pk)
    form = MomentForm(posted(request), initial={"at": clock.now()})
    if request.method == "POST" and accepted(
        form,
        lambda: services.end_session(
            session=session, acting_user=request.user, **form.cleaned_data
        ),
    ):
        return done(request, "The session has ended.", JOB, session.job.number)
    return form_page(
        request,
        form,
        title="End the session",
        back=reverse(JOB, args=[session.job.number]),
        lead="It is not resumed again. Check the system once more before it is moved.",
        submit="End",
        big=True,
    )


@require_http_methods(FORM_METHODS)
def correct(request: Request, pk: int) -> HttpResponse:
    event = get_event_for(request.user, pk)
    form = CorrectionForm(posted(request), initial={"at": event.at})
    if request.method == "POST" and accepted(
        form,
        lambda: services.correct_event(
            event=event, acting_user=request.user, **form.cleaned_data
        ),
    ):
        return done(request, "The time is corrected.", JOB, event.session.job.number)
    return form_page(
        request,
        form,
        title=f"Correct the time of the {event.get_kind_display().lower()}",
        back=reverse(JOB, args=[event.session.job.number]),
        lead="The first time is kept beside it, and the session is judged again.",
    )
