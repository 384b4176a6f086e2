"""Every page is in the permission table, and the table is kept here."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django.contrib.auth import logout
from django.contrib.auth.views import redirect_to_login
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse
from django_htmx.http import HttpResponseClientRedirect

from lab.accounts.permissions import ANYONE, PAGES
from lab.accounts.sessions import has_ended


class SessionRulesMiddleware:
    """End a session twelve hours after its sign-in, however busy it is."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        if request.user.is_authenticated and has_ended(request.session):
            logout(request)
        return self.get_response(request)


class PagePermissionMiddleware:
    """Let a person reach a page only as the table of pages says.

    A page without an entry is refused to everyone. A fragment asked for after the
    session ended is answered with a redirect of the whole page, so that no login
    form ever lands inside another page.
    """

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        return self.get_response(request)

    def process_view(
        self, request: HttpRequest, _view: Any, _args: Any, _kwargs: Any
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


def to_login(request: HttpRequest) -> HttpResponse:
    """Send the whole browser page to the login form, and back afterwards."""
    back = request.get_full_path()
    if request.htmx:
        back = request.htmx.current_url_abs_path or "/"
    answer = redirect_to_login(back)
    if request.htmx:
        return HttpResponseClientRedirect(answer.url)
    return answer
