"""The people of the lab, for whoever administers the installation."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_POST, require_safe

from lab.accounts.forms import PersonForm, ReasonForm
from lab.accounts.http import Request
from lab.accounts.models import User
from lab.accounts.selectors import has_phone, people_like, recent_sign_ins
from lab.accounts.services import (
    change_person,
    deactivate_person,
    invite_new_person,
    invite_person,
    reactivate_person,
    reset_code,
)
from lab.accounts.views.sign_in import get_or_post, status_of
from lab.common.errors import NotAcceptable
from lab.common.forms import add_refusal


@require_safe
def people(request: Request) -> HttpResponse:
    said, gone = request.GET.get("q", ""), "gone" in request.GET
    found = people_like(said, also_gone=gone)
    may_change = request.user.may("people.change")
    context = {"people": found, "q": said, "gone": gone, "may_change": may_change}
    return render(request, "accounts/people.html", context)


@get_or_post
def add_person(request: Request) -> HttpResponse:
    form = PersonForm(request.POST or None)
    if form.is_valid():
        try:
            person = invite_new_person(**form.cleaned_data, acting_user=request.user)
        except NotAcceptable as refusal:
            add_refusal(form, refusal)
        else:
            messages.success(request, f"{person.name} is added and gets a mail.")
            return redirect("accounts:person", person.pk)
    context = {"form": form}
    return render(request, "accounts/add_person.html", context, status=status_of(form))


@get_or_post
def person(request: Request, pk: int) -> HttpResponse:
    shown = get_object_or_404(User, pk=pk)
    now = {"name": shown.name, "email": shown.email, "role": shown.role}
    form = PersonForm(request.POST or None, initial=now)
    if form.is_valid():
        typed = form.cleaned_data
        try:
            change_person(person=shown, **typed, acting_user=request.user)
        except NotAcceptable as refusal:
            add_refusal(form, refusal)
        else:
            return redirect("accounts:person", shown.pk)
    return _show(request, shown, form=form)


@require_POST
def deactivate(request: Request, pk: int) -> HttpResponse:
    return _act_with_reason(request, pk, deactivate_person, "deactivate")


@require_POST
def reactivate(request: Request, pk: int) -> HttpResponse:
    return _act_with_reason(request, pk, reactivate_person, "reactivate")


@require_POST
def forget_code(request: Request, pk: int) -> HttpResponse:
    return _act_with_reason(request, pk, reset_code, "forget_code")


@require_POST
def invite(request: Request, pk: int) -> HttpResponse:
    shown = get_object_or_404(User, pk=pk)
    invite_person(person=shown, acting_user=request.user)
    messages.success(request, f"{shown.name} gets a mail with a link, good for a week.")
    return redirect("accounts:person", pk)


def _act_with_reason(request: Request, pk: int, act: Any, name: str) -> HttpResponse:
    """Do one act about a person for a typed reason; without one, ask for it again."""
    shown = get_object_or_404(User, pk=pk)
    form = ReasonForm(request.POST, auto_id=f"id_{name}_%s")
    if not form.is_valid():
        return _show(request, shown, **{name: form})
    act(person=shown, reason=form.cleaned_data["reason"], acting_user=request.user)
    return redirect("accounts:person", pk)


def _show(request: Request, shown: User, **forms: Any) -> HttpResponse:
    now = {"name": shown.name, "email": shown.email, "role": shown.role}
    context = {
        "person": User.objects.get(pk=shown.pk),
        "form": PersonForm(initial=now),
        "has_phone": has_phone(shown),
        "sign_ins": recent_sign_ins(shown),
        **{
            name: ReasonForm(auto_id=f"id_{name}_%s")
            for name in ("deactivate", "reactivate", "forget_code")
        },
        **forms,
    }
    status = max(map(status_of, forms.values()), default=200)
    return render(request, "accounts/person.html", context, status=status)
