"""What every page is told: who is here, and what the navigation may offer them."""

from __future__ import annotations

from typing import Any

from django.conf import settings
from django.http import HttpRequest

from lab.accounts.navigation import entries_for


def page(request: HttpRequest) -> dict[str, Any]:
    user = getattr(request, "user", None)
    signed_in = user is not None and user.is_authenticated
    return {
        "demo": settings.DEMO,
        "navigation": entries_for(request) if signed_in else [],
    }
