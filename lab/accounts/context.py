"""What every page is told: who is here, and what the navigation may offer them."""

from __future__ import annotations

from typing import Any

from django.conf import settings

from lab.accounts.http import Request
from lab.accounts.navigation import entries_for
from lab.accounts.sessions import address_with_next, is_on_tablet, place_of


def page(request: Request) -> dict[str, Any]:
    user = getattr(request, "user", None)
    signed_in = user is not None and user.is_authenticated and user.has_shown_code
    return {
        "demo": settings.DEMO,
        "navigation": entries_for(request) if signed_in else [],
        "tablet": tablet_watch(request) if signed_in else None,
    }


def tablet_watch(request: Request) -> dict[str, Any] | None:
    """Tell a page on a shared tablet when to lock, and where it goes then."""
    if not is_on_tablet(request.session):
        return None
    return {
        "idle_seconds": int(settings.SHARED_TABLET_IDLE.total_seconds()),
        "lock_address": address_with_next("accounts:tablet", place_of(request)),
    }
