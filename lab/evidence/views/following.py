"""Letters, tellings and corrective actions of a case."""

from __future__ import annotations

from django.http import Http404, HttpResponse, HttpResponseBase
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_safe

from lab.accounts.http import Request
from lab.common import clock
from lab.common.files.views import file_response
from lab.common.forms import accepted
from lab.common.pages import FORM_METHODS, done, form_page, posted
from lab.evidence import services
from lab.evidence.access import (
    get_action_for,
    get_case_for,
    get_customer_in,
    get_letter_for,
)
from lab.evidence.forms import ActionForm, EffectForm, NoteForm, TellForm, WriteForm
from lab.evidence.guards import require_decider
from lab.evidence.letters.content import read_letter, text_of
from lab.evidence.views.cases import CASE


@require_http_methods(FORM_METHODS)
def write(request: Request, pk: int, customer: int) -> HttpResponse:
    found = get_case_for(request.user, pk)
    to = get_customer_in(found, customer)
    form = WriteForm(posted(request))
    if request.method == "POST" and accepted(
        form,
        lambda: services.draft_letter(
            case=found, customer=to, acting_user=request.user, **form.cleaned_data
        ),
    ):
        return done(request, "The letter is drafted. Read it, then send it.", CASE, pk)
    return form_page(
        request,
        form,
        title=f"Draft a letter to {to}",
        back=reverse(CASE, args=[pk]),
        lead="It is kept as drafted. The program sends nothing: you do.",
        submit="Draft",
    )


@require_http_methods(FORM_METHODS)
def tell(request: Request, pk: int, customer: int) -> HttpResponse:
    found = get_case_for(request.user, pk)
    to = get_customer_in(found, customer)
    letters = found.letters.filter(customer=to)
    start = {"at": clock.now(), "letter": letters.last()}
    form = TellForm(posted(request), letters=letters, initial=start)
    if request.method == "POST" and accepted(
        form,
        lambda: services.record_telling(
            case=found, customer=to, acting_user=request.user, **form.cleaned_data
        ),
    ):
        return done(request, f"It is kept that {to} was told.", CASE, pk)
    back = reverse(CASE, args=[pk])
    return form_page(request, form, title=f"{to} was told …", back=back)


@require_safe
def letter(request: Request, pk: int) -> HttpResponseBase:
    found = get_letter_for(request.user, pk)
    if not hasattr(found, "document"):
        raise Http404("The letter is still being drawn. Try again in a moment.")
    name = f"case-{found.case_id}-letter-{found.pk}.pdf"
    return file_response(found.document.file, name)


@require_safe
def letter_text(request: Request, pk: int) -> HttpResponse:
    found = get_letter_for(request.user, pk)
    said = text_of(read_letter(found))
    return HttpResponse(said, content_type="text/plain; charset=utf-8")


@require_http_methods(FORM_METHODS)
def action(request: Request, pk: int) -> HttpResponse:
    found = get_case_for(request.user, pk)
    require_decider(request.user)
    form = ActionForm(posted(request))
    if request.method == "POST" and accepted(
        form,
        lambda: services.add_action(
            case=found, acting_user=request.user, **form.cleaned_data
        ),
    ):
        return done(request, "The action is set down.", CASE, pk)
    title, back = "Set down a corrective action", reverse(CASE, args=[pk])
    return form_page(request, form, title=title, back=back)


@require_http_methods(FORM_METHODS)
def action_done(request: Request, pk: int) -> HttpResponse:
    found = get_action_for(request.user, pk)
    form = NoteForm(posted(request))
    if request.method == "POST" and accepted(
        form,
        lambda: services.record_done(
            action=found, acting_user=request.user, **form.cleaned_data
        ),
    ):
        return done(request, "The action is done.", CASE, found.case_id)
    back = reverse(CASE, args=[found.case_id])
    return form_page(request, form, title="The action is done", back=back)


@require_http_methods(FORM_METHODS)
def effect(request: Request, pk: int) -> HttpResponse:
    found = get_action_for(request.user, pk)
    require_decider(request.user)
    form = EffectForm(posted(request))
    if request.method == "POST" and accepted(
        form,
        lambda: services.check_effect(
            action=found, acting_user=request.user, **form.cleaned_data
        ),
    ):
        return done(request, "The effect is kept.", CASE, found.case_id)
    back = reverse(CASE, args=[found.case_id])
    return form_page(request, form, title="Did the action help?", back=back)
