"""The steps between a right password and being in."""

from __future__ import annotations

from django.contrib import auth
from django.http import HttpResponse
from django.shortcuts import redirect
from django_otp import login as remember_device
from django_otp.plugins.otp_totp.models import TOTPDevice

from lab.accounts.codes import code_page_for
from lab.accounts.http import Request
from lab.accounts.models import User
from lab.accounts.services import record_sign_in, share_tablet
from lab.accounts.sessions import (
    TABLET_COOKIE,
    WANTS_TABLET,
    address_with_next,
    remember_tablet,
    safe_path,
    stamp_sign_in,
    stamp_tablet,
)


def enter(request: Request, person: User, *, shared: bool) -> HttpResponse:
    """Start the session of a person whose password was right.

    Its key is new, so that one planted in the browser beforehand is worth nothing.
    Where the role needs a code, the session can do no more than ask for it.
    """
    auth.login(request, person)
    request.session.cycle_key()
    stamp_sign_in(request.session)
    request.session[WANTS_TABLET] = shared
    onward = safe_path(request.GET.get("next"))
    if person.needs_code:
        return redirect(address_with_next(code_page_for(person), onward))
    return complete(request, redirect(onward))


def pass_code(request: Request, device: TOTPDevice) -> None:
    """Note that this session has shown the code; its key is new once more."""
    remember_device(request, device)
    request.session.cycle_key()


def complete(request: Request, response: HttpResponse) -> HttpResponse:
    """Record that somebody is fully in, and make a shared tablet known as one."""
    tablet = None
    if request.session.pop(WANTS_TABLET, False):
        cookie = request.COOKIES.get(TABLET_COOKIE, "")
        tablet, token = share_tablet(token=cookie, acting_user=request.user)
        stamp_tablet(request.session, tablet)
        remember_tablet(response, token)
    record_sign_in(tablet=tablet, acting_user=request.user)
    return response
