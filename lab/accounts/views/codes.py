"""One-time codes: showing one, enrolling a phone, fresh backup codes."""

from __future__ import annotations

from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_post_parameters

from lab.accounts.codes import device_of, key_picture, key_text, new_key
from lab.accounts.entering import complete, pass_code
from lab.accounts.forms import CodeForm, EnrolForm, IdentityForm
from lab.accounts.http import Request
from lab.accounts.services import enrol_phone, make_backup_codes
from lab.accounts.sessions import (
    ENROLMENT_KEY,
    ENROLS_ANEW,
    address_with_next,
    safe_path,
)
from lab.accounts.views.sign_in import get_or_post, status_of
from lab.common.errors import DomainError
from lab.common.forms import add_refusal


@sensitive_post_parameters()
@never_cache
@get_or_post
def code(request: Request) -> HttpResponse:
    onward = safe_path(request.GET.get("next"))
    if request.user.has_shown_code:
        return redirect(onward)
    if device_of(request.user) is None:
        return redirect(address_with_next("accounts:enrol", onward))
    backup = "backup" in request.GET
    form = CodeForm(request.user, request.POST or None, backup=backup)
    if form.is_valid():
        pass_code(request, form.device)
        return complete(request, redirect(onward))
    context = {"form": form, "backup": backup}
    return render(request, "accounts/code.html", context, status=status_of(form))


@sensitive_post_parameters()
@never_cache
@get_or_post
def enrol(request: Request) -> HttpResponse:
    if not _may_enrol(request):
        return redirect("accounts:own")
    key = request.session.setdefault(ENROLMENT_KEY, new_key())
    form = EnrolForm(key, request.POST or None)
    if form.is_valid():
        try:
            return _enrolled(request, key, form.cleaned_data["code"])
        except DomainError as refusal:
            add_refusal(form, refusal)
    context = {
        "form": form,
        "picture": key_picture(request.user, key),
        "key": key_text(key),
    }
    return render(request, "accounts/enrol.html", context, status=status_of(form))


@sensitive_post_parameters()
@never_cache
@get_or_post
def new_phone(request: Request) -> HttpResponse:
    form = IdentityForm(request, request.POST or None)
    if form.is_valid():
        request.session[ENROLS_ANEW] = True
        return redirect("accounts:enrol")
    context = {"form": form}
    return render(request, "accounts/new_phone.html", context, status=status_of(form))


@sensitive_post_parameters()
@never_cache
@get_or_post
def backup_codes(request: Request) -> HttpResponse:
    form = IdentityForm(request, request.POST or None)
    if form.is_valid():
        codes = make_backup_codes(acting_user=request.user)
        return _show_once(request, codes, onward=safe_path(None))
    context = {"form": form}
    page = "accounts/backup_codes.html"
    return render(request, page, context, status=status_of(form))


def _may_enrol(request: Request) -> bool:
    """Tell whether a phone is wanted: it is the first, or was asked for just now."""
    if not request.user.needs_code:
        return False
    return ENROLS_ANEW in request.session or device_of(request.user) is None


def _enrolled(request: Request, key: str, said: str) -> HttpResponse:
    """Enrol the phone and show the backup codes in the answer to the form itself.

    A redirect would need them stored until the next request; so they are never.
    """
    is_first = not request.user.has_shown_code
    codes = enrol_phone(key=key, code=said, acting_user=request.user)
    for kept in (ENROLMENT_KEY, ENROLS_ANEW):
        request.session.pop(kept, None)
    device = device_of(request.user)
    assert device is not None  # noqa: S101 - enrol_phone has just made it
    pass_code(request, device)
    onward = safe_path(request.GET.get("next"))
    response = _show_once(request, codes, onward=onward)
    return complete(request, response) if is_first else response


def _show_once(request: Request, codes: list[str], *, onward: str) -> HttpResponse:
    context = {"codes": codes, "next": onward}
    return render(request, "accounts/codes_shown_once.html", context)
