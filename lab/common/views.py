"""Pages of the ground floor."""

from __future__ import annotations

from typing import cast

from django.contrib import messages
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.template.loader import render_to_string
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_POST, require_safe

from lab.common import audit
from lab.common.actors import Actor
from lab.common.models import AuditEntry, WorkItem
from lab.common.paging import keyset_page
from lab.common.running.health import examine
from lab.common.work.selectors import failed_items, waiting_since
from lab.common.work.services import retry_work


@require_safe
@never_cache
def healthz(request: HttpRequest) -> JsonResponse:
    """Say whether all is well (200) or not (503), to whoever watches over us."""
    health = examine()
    return JsonResponse(health.described(), status=200 if health.ok else 503)


@require_safe
def record(request: HttpRequest) -> HttpResponse:
    """List what was done, by whom, newest first; of one record where one is named."""
    entries = AuditEntry.objects.select_related("seal")
    about = {
        name: request.GET[name]
        for name in ("subject_type", "subject_id")
        if request.GET.get(name)
    }
    page = keyset_page(
        entries.filter(**about), request.GET.get("page"), by="recorded_at"
    )
    context = {"page": page, "about": about, "head": audit.head()}
    return render(request, "common/record.html", context)


@require_safe
def work(request: HttpRequest) -> HttpResponse:
    context = {"failed": failed_items()[:200], "waiting_since": waiting_since()}
    return render(request, "common/work.html", context)


@require_POST
def retry(request: HttpRequest, pk: int) -> HttpResponse:
    item = get_object_or_404(WorkItem, pk=pk)
    retry_work(item=item, acting_user=cast(Actor, request.user))
    messages.success(request, f"{item.kind} will be tried again within seconds.")
    return redirect("common:work")


def forbidden(request: HttpRequest, exception: Exception) -> HttpResponse:
    return render(request, "errors/403.html", {"sentence": str(exception)}, status=403)


def stale_form(request: HttpRequest, reason: str = "") -> HttpResponse:
    """Refuse a form that another sign-in or too long a wait has outdated."""
    return render(request, "errors/csrf.html", status=403)


def not_found(request: HttpRequest, exception: Exception) -> HttpResponse:
    return render(request, "errors/404.html", status=404)


def server_error(request: HttpRequest) -> HttpResponse:
    """Say that something broke, without asking anything that may be broken too."""
    return HttpResponse(render_to_string("errors/500.html"), status=500)
