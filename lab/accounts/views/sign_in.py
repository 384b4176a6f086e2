"""Signing in and out, alone or on a shared tablet."""

from __future__ import annotations

from typing import Any

from django.conf import settings
from django.contrib import auth
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_http_methods, require_POST

from lab.accounts.entering import enter
from lab.accounts.forms import SignInForm, TabletPasswordForm
from lab.accounts.http import Request
from lab.accounts.services import record_sign_out
from lab.accounts.sessions import (
    TABLET_COOKIE,
    address_with_next,
    is_on_tablet,
    people_lately_on,
    place_of,
    safe_path,
    tablet_of,
)

get_or_post = require_http_methods(["GET", "HEAD", "POST"])


@sensitive_post_parameters()
@never_cache
@get_or_post
def login(request: Request) -> HttpResponse:
    if request.user.is_authenticated:
        return redirect(safe_path(request.GET.get("next")))
    on_tablet = TABLET_COOKIE in request.COOKIES
    form = SignInForm(request, request.POST or None, initial={"shared": on_tablet})
    if form.is_valid():
        return enter(request, form.person, shared=form.cleaned_data["shared"])
    return render(
        request, "accounts/login.html", {"form": form}, status=status_of(form)
    )


@require_POST
def logout(request: Request) -> HttpResponse:
    """Sign out; on a shared tablet the next person goes on where this one was."""
    shared = is_on_tablet(request.session)
    return _leave(request, place_of(request) if shared else safe_path(None))


@require_POST
def lock_tablet(request: Request) -> HttpResponse:
    return _leave(request, place_of(request))


@sensitive_post_parameters()
@never_cache
@get_or_post
def tablet(request: Request) -> HttpResponse:
    onward = safe_path(request.GET.get("next"))
    if request.user.is_authenticated:
        return redirect(onward)
    device = tablet_of(request)
    people = people_lately_on(device) if device else []
    by_email = address_with_next("accounts:login", onward)
    if not people:
        return redirect(by_email)
    who = next((p for p in people if str(p.pk) == request.GET.get("who")), None)
    form = TabletPasswordForm(request, who, request.POST or None) if who else None
    if form is not None and form.is_valid():
        return enter(request, form.person, shared=True)
    context = {"people": people, "who": who, "form": form, "by_email": by_email}
    return render(request, "accounts/tablet.html", context, status=status_of(form))


@require_POST
def awake(request: Request) -> HttpResponse:
    """Answer a touch of the tablet; the middleware has noted it."""
    return HttpResponse(status=204)


def locked_out(request: Request, *_others: Any) -> HttpResponse:
    """Tell whoever gave too many wrong passwords to wait; django-axes calls it."""
    minutes = int(settings.AXES_COOLOFF_TIME.total_seconds() // 60)
    context = {"minutes": minutes}
    return render(request, "accounts/locked_out.html", context, status=429)


def status_of(form: Any) -> int:
    """Return 400 for a form that was refused, else 200."""
    return 400 if form is not None and form.errors else 200


def _leave(request: Request, onward: str) -> HttpResponse:
    if request.user.is_authenticated and request.user.has_shown_code:
        record_sign_out(acting_user=request.user)
    auth.logout(request)
    shared = TABLET_COOKIE in request.COOKIES
    page = "accounts:tablet" if shared else "accounts:login"
    return redirect(address_with_next(page, onward))
