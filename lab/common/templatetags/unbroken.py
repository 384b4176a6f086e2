"""Template tags that every template has without loading them."""

from __future__ import annotations

from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from django import template
from django.http import HttpRequest
from django.template.context import RequestContext

register = template.Library()


@register.filter
def local(instant: datetime | None, zone: str = "UTC") -> str:
    """Show an instant in a site's zone with its offset: 2026-07-14 15:40 +01:00."""
    if instant is None:
        return ""
    return instant.astimezone(ZoneInfo(zone)).isoformat(" ", "minutes")


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
