"""Times on pages and in forms are those of the clock on the laboratory's wall."""

from __future__ import annotations

from collections.abc import Callable

from django.http import HttpRequest, HttpResponse
from django.utils import timezone

from lab.laboratory.selectors import the_laboratory


class LocalTimeMiddleware:
    """Read typed times, and show instants, in the laboratory's zone."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        try:
            return self.get_response(request)
        finally:
            # The thread serves others next; none inherits this laboratory's clock.
            timezone.deactivate()

    def process_view(self, request: HttpRequest, *_args: object) -> None:
        laboratory = the_laboratory()
        if laboratory is None:
            timezone.deactivate()
        else:
            timezone.activate(laboratory.zone)
