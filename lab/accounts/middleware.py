"""Sessions keep their rules, and every page is in the permission table."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Final

from django.contrib.auth import logout
from django.core.exceptions import PermissionDenied
from django.http import HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django_htmx.http import HttpResponseClientRedirect

from lab.accounts.codes import code_page_for
from lab.accounts.http import Request
from lab.accounts.permissions import ANYONE, PAGES
from lab.accounts.sessions import (
    TABLET_COOKIE,
    address_with_next,
    has_ended,
    is_act,
    is_idle,
    is_on_tablet,
    place_of,
    stamp_act,
)

#: All that a person who has given the password but not the code may reach.
BEFORE_CODE: Final = frozenset(
    {"accounts:code", "accounts:enrol", "accounts:logout", "healthz"}
)


class SessionRulesMiddleware:
    """End sessions that are over, and hold back whoever has not shown the code.

    Over is a session twelve hours after its sign-in, however busy it is, and on a
    shared tablet after fifteen idle minutes.
    """

    def __init__(self, get_response: Callable[[Request], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: Request) -> HttpResponse:
        session = request.session
        if request.user.is_authenticated:
            if has_ended(session) or is_idle(session):
                logout(request)
            elif is_on_tablet(session) and self._touches(request):
                stamp_act(session)
        response = self.get_response(request)
        if is_on_tablet(session):
            # Whoever has the tablet next must not find this page by going back.
            response.headers.setdefault("Cache-Control", "no-store")
        return response

    def process_view(
        self, request: Request, _view: Any, _args: Any, _kwargs: Any
    ) -> HttpResponse | None:
        match, person = request.resolver_match, request.user
        if not person.is_authenticated or person.has_shown_code:
            return None
        if match is not None and match.view_name in BEFORE_CODE:
            return None
        return leave_for(request, code_page_for(person))

    @staticmethod
    def _touches(request: Request) -> bool:
        return is_act(request) and request.path != reverse("accounts:tablet")


class PagePermissionMiddleware:
    """Let a person reach a page only as the table of pages says.

    A page without an entry is refused to everyone. A fragment asked for after the
    session ended is answered with a redirect of the whole page, so that no login
    form ever lands inside another page.
    """

    def __init__(self, get_response: Callable[[Request], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: Request) -> HttpResponse:
        return self.get_response(request)

    def process_view(
        self, request: Request, _view: Any, _args: Any, _kwargs: Any
    ) -> HttpResponse | None:
        match = request.resolver_match
        action = PAGES.get(match.view_name) if match else None
        if action is None:
            raise PermissionDenied("This page is in no permission table.")
        if action == ANYONE:
            return None
        if not request.user.is_authenticated:
            return to_login(request)
        if not request.user.may(action):
            raise PermissionDenied("Your role does not open this page.")
        return None


def to_login(request: Request) -> HttpResponse:
    """Send whoever is not signed in to sign in, and back afterwards.

    On a shared tablet that is its lock page, with the names to tap.
    """
    shared = TABLET_COOKIE in request.COOKIES
    return leave_for(request, "accounts:tablet" if shared else "accounts:login")


def leave_for(request: Request, page: str) -> HttpResponse:
    """Send the whole browser page elsewhere, never a form into a fragment."""
    address = address_with_next(page, place_of(request))
    return HttpResponseClientRedirect(address) if request.htmx else redirect(address)
