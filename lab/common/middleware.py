"""A refusal that no view caught becomes a page with the refusal's own words."""

from __future__ import annotations

from collections.abc import Callable

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from lab.common.errors import DomainError


class DomainErrorMiddleware:
    """Show a DomainError that reached the top as an error page in words."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        return self.get_response(request)

    def process_exception(
        self, request: HttpRequest, exception: Exception
    ) -> HttpResponse | None:
        if not isinstance(exception, DomainError):
            return None
        return render(
            request,
            "errors/refusal.html",
            {"sentence": exception.sentence},
            status=exception.status,
        )
