"""The page that holds one form, the answer after it, and pages of a long list."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

from django import forms
from django.contrib import messages
from django.core.paginator import Page, Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render

#: A page that takes a form is shown by GET and takes by POST; nothing else.
FORM_METHODS: Final = ["GET", "HEAD", "POST"]


def form_page(
    request: HttpRequest, form: forms.BaseForm, *, title: str, back: str, **context: Any
) -> HttpResponse:
    """Show a form, or show it again with what is wrong beside each field (400).

    ``context`` may hold ``lead``, ``submit``, ``danger`` and ``template``.
    """
    page = {"form": form, "title": title, "back": back} | context
    template = context.get("template", "common/form.html")
    return render(request, template, page, status=400 if form.is_bound else 200)


def done(request: HttpRequest, sentence: str, *target: Any) -> HttpResponse:
    """Say what was done, on the page that comes next."""
    messages.success(request, sentence)
    return redirect(*target)


def posted(request: HttpRequest) -> Any:
    """Return what a form is bound to: what was posted, or nothing."""
    return request.POST if request.method == "POST" else None


@dataclass(frozen=True, slots=True)
class NumberedPage:
    """One page of a list with numbered pages, as ``pieces/pager.html`` wants it."""

    page: Page[Any]

    @property
    def rows(self) -> Any:
        return self.page.object_list

    @property
    def has_previous(self) -> bool:
        return self.page.has_previous()

    @property
    def has_next(self) -> bool:
        return self.page.has_next()

    @property
    def previous_key(self) -> int:
        return self.page.previous_page_number()

    @property
    def next_key(self) -> int:
        return self.page.next_page_number()

    @property
    def label(self) -> str:
        return f"Page {self.page.number} of {self.page.paginator.num_pages}"


def numbered_page(rows: Any, number: str | None, *, size: int = 50) -> NumberedPage:
    """Return a page of a list; a number that is none of its pages gives the nearest."""
    return NumberedPage(Paginator(rows, size).get_page(number))
