"""What is decided in a case, each on a page of its own form."""

from __future__ import annotations

from django.http import HttpResponse
from django.urls import reverse
from django.views.decorators.http import require_http_methods

from lab.accounts.http import Request
from lab.common.forms import accepted
from lab.common.pages import FORM_METHODS, done, form_page, posted
from lab.evidence import services
from lab.evidence.access import get_case_for, get_certificate_in, get_task_for
from lab.evidence.forms import AssessForm, DecideForm, TaskForm, WindowForm
from lab.evidence.guards import require_decider
from lab.evidence.pages import passes_before
from lab.evidence.views.cases import CASE
from lab.lapses.services import decide_task


@require_http_methods(FORM_METHODS)
def window(request: Request, pk: int) -> HttpResponse:
    found = get_case_for(request.user, pk)
    require_decider(request.user)
    last = found.windows.order_by("-pk").first()
    form = WindowForm(posted(request), initial={"since": last.since if last else None})

    def move() -> None:
        services.move_window(case=found, acting_user=request.user, **form.cleaned_data)

    if request.method == "POST" and accepted(form, move):
        return done(request, "The window is moved.", CASE, pk)
    return form_page(
        request,
        form,
        title="Move the start of the window",
        back=reverse(CASE, args=[pk]),
        template="evidence/window.html",
        case=found,
        window=last,
        passes=passes_before(found, last),
    )


@require_http_methods(FORM_METHODS)
def assess(request: Request, pk: int) -> HttpResponse:
    found = get_case_for(request.user, pk)
    require_decider(request.user)
    form = AssessForm(posted(request))
    if request.method == "POST" and accepted(
        form,
        lambda: services.assess(
            case=found, acting_user=request.user, **form.cleaned_data
        ),
    ):
        return done(request, "The significance is kept.", CASE, pk)
    back = reverse(CASE, args=[pk])
    return form_page(request, form, title="How significant it is", back=back)


@require_http_methods(FORM_METHODS)
def task(request: Request, pk: int, task: int) -> HttpResponse:
    found = get_case_for(request.user, pk)
    row = get_task_for(request.user, found, task)
    require_decider(request.user)
    form = TaskForm(posted(request))
    if request.method == "POST" and accepted(
        form,
        lambda: decide_task(task=row, acting_user=request.user, **form.cleaned_data),
    ):
        return done(request, "The session is decided.", CASE, pk)
    return form_page(
        request,
        form,
        title=f"Is session {row.session_id} affected?",
        back=reverse(CASE, args=[pk]),
        lead=f"{row.session.system} used {row.shared} as well in the time in question.",
    )


@require_http_methods(FORM_METHODS)
def decide(request: Request, pk: int, number: str) -> HttpResponse:
    found = get_case_for(request.user, pk)
    certificate = get_certificate_in(found, number)
    require_decider(request.user)
    earlier = found.decisions.filter(certificate=certificate).order_by("-pk").first()
    form = DecideForm(posted(request))
    if request.method == "POST" and accepted(
        form,
        lambda: services.decide_certificate(
            case=found,
            certificate=certificate,
            supersedes=earlier,
            acting_user=request.user,
            **form.cleaned_data,
        ),
    ):
        return done(request, f"{number} is decided.", CASE, pk)
    title, back = f"What becomes of {number}", reverse(CASE, args=[pk])
    return form_page(request, form, title=title, back=back)
