"""Requests are refused by their stated length before a byte of them is parsed."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

#: What a form may send beside its files.
FORM_ALLOWANCE = 1024 * 1024
ViewFunction = Callable[..., HttpResponse]


def takes_upload(kind: str) -> Callable[[ViewFunction], ViewFunction]:
    """Mark a view as one that takes a file of a kind of ``UPLOAD_LIMITS``."""

    def mark(view: ViewFunction) -> ViewFunction:
        view.upload_kind = kind  # type: ignore[attr-defined]
        return view

    return mark


class ContentLengthMiddleware:
    """Refuse a body larger than the view that it is for takes (413).

    Every view takes form data up to ``DATA_UPLOAD_MAX_MEMORY_SIZE``; one marked by
    :func:`takes_upload` takes its kind's size besides.
    """

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        return self.get_response(request)

    def process_view(
        self, request: HttpRequest, view: Any, _args: Any, _kwargs: Any
    ) -> HttpResponse | None:
        kind: str | None = getattr(view, "upload_kind", None)
        limit: int = settings.DATA_UPLOAD_MAX_MEMORY_SIZE
        if kind is not None:
            limit = FORM_ALLOWANCE + settings.UPLOAD_LIMITS[kind]
        said = str(request.META.get("CONTENT_LENGTH") or "0").strip()
        if said.isascii() and said.isdecimal() and int(said) <= limit:
            return None
        context = {"limit_mb": limit // (1024 * 1024)}
        return render(request, "errors/413.html", context, status=413)
