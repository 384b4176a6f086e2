"""Template tags that every template has without loading them."""

from __future__ import annotations

from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from django import template
from django.http import HttpRequest
from django.template.context import RequestContext
from django.template.loader import render_to_string
from django.utils import timezone
from django.utils.safestring import SafeString

from lab.common.panels import Panel

register = template.Library()


@register.filter
def local(instant: datetime | None, zone: ZoneInfo | str | None = None) -> str:
    """Show an instant with its offset, in the laboratory's zone unless one is named.

    2026-07-14 15:40 +01:00
    """
    if instant is None:
        return ""
    place = ZoneInfo(zone) if isinstance(zone, str) else zone
    there = instant.astimezone(place or timezone.get_current_timezone())
    offset = there.isoformat()[-6:]
    return f"{there:%Y-%m-%d %H:%M} {offset}"


@register.simple_tag(takes_context=True)
def query(context: RequestContext, **changes: Any) -> str:
    """Return the page's query string with some parameters changed or (None) removed."""
    request: HttpRequest = context["request"]
    parameters = request.GET.copy()
    for name, value in changes.items():
        parameters.pop(name, None)
        if value is not None:
            parameters[name] = str(value)
    return f"?{parameters.urlencode()}"


@register.simple_tag(takes_context=True)
def show_panel(context: RequestContext, panel: Panel) -> SafeString:
    """Render a panel by its own template, which sees its own context only."""
    return render_to_string(panel.template, panel.context, context["request"])
