"""Passwords for those who can't sign in: asking for a link, and using it."""

from __future__ import annotations

from axes.helpers import get_client_ip_address
from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_safe

from lab.accounts.forms import AskPasswordForm, NewPasswordForm
from lab.accounts.http import Request
from lab.accounts.identity import forget_wrong_passwords
from lab.accounts.links import find_link
from lab.accounts.services import ask_password_link, set_password_by_link
from lab.accounts.views.sign_in import get_or_post, status_of
from lab.common.actors import PROGRAM
from lab.common.errors import NotAcceptable
from lab.common.forms import add_refusal


@get_or_post
def ask_password(request: Request) -> HttpResponse:
    form = AskPasswordForm(request.POST or None)
    if form.is_valid():
        ask_password_link(
            email=form.cleaned_data["email"],
            ip_address=get_client_ip_address(request),
            acting_user=PROGRAM,
        )
        return redirect("accounts:password_asked")
    context = {"form": form}
    page = "accounts/ask_password.html"
    return render(request, page, context, status=status_of(form))


@require_safe
def password_asked(request: Request) -> HttpResponse:
    return render(request, "accounts/password_asked.html")


@sensitive_post_parameters()
@never_cache
@get_or_post
def set_password(request: Request, token: str) -> HttpResponse:
    person = find_link(token).person
    form = NewPasswordForm(request.POST or None)
    if form.is_valid():
        try:
            return _password_set(request, token, form.cleaned_data["password"])
        except NotAcceptable as refusal:
            add_refusal(form, refusal)
    context = {"form": form, "person": person}
    page = "accounts/set_password.html"
    return render(request, page, context, status=status_of(form))


def _password_set(request: Request, token: str, password: str) -> HttpResponse:
    person = set_password_by_link(token=token, password=password, acting_user=PROGRAM)
    forget_wrong_passwords(person)
    messages.success(request, "The password is set. Sign in with it now.")
    return redirect("accounts:login")
