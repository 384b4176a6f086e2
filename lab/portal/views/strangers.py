"""The public page: whether a certificate is authentic, and whether it is in force.

It tells nothing that is not on the certificate, and takes no count of who asks: a code
has 128 random bits, so that trying them all is hopeless at any rate, and a limit kept
in the database would have it written to on behalf of strangers.
"""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_POST, require_safe

from lab.common.uploads import takes_upload
from lab.portal.codes import code_in
from lab.portal.selectors import Told, compared, told_of


@require_safe
@never_cache
def ask(request: HttpRequest) -> HttpResponse:
    """Take a code as it was typed."""
    said = request.GET.get("code", "")
    if code := code_in(said):
        return redirect("portal:authentic", code)
    return _page(request, None, said=said, wrong=bool(said))


@require_safe
@never_cache
def authentic(request: HttpRequest, code: str) -> HttpResponse:
    told = told_of(code_in(code))
    return _page(request, told, unknown=told is None)


@require_POST
@never_cache
@takes_upload("other")
def compare(request: HttpRequest) -> HttpResponse:
    """Take a document itself, and say whether it is one that was issued here."""
    file = request.FILES.get("document")
    if file is None:
        return redirect("portal:ask")
    found = compared(file)
    if found is None:
        return _page(request, None, changed=True)
    return _page(request, found.told, same=True, signature=found.signature)


def _page(request: HttpRequest, told: Told | None, **facts: Any) -> HttpResponse:
    context = {"told": told, **facts}
    unknown = facts.get("unknown") or facts.get("changed")
    status = 404 if unknown else 400 if facts.get("wrong") else 200
    response = render(request, "portal/authentic.html", context, status=status)
    response["X-Robots-Tag"] = "noindex, nofollow"
    return response
