"""What a session remembers about how its person came in."""

from __future__ import annotations

from datetime import datetime

from django.conf import settings
from django.contrib.sessions.backends.base import SessionBase

from lab.common import clock

SIGNED_IN_AT = "signed_in_at"


def stamp_sign_in(session: SessionBase) -> None:
    """Start the session's twelve hours."""
    session[SIGNED_IN_AT] = clock.now().isoformat()


def signed_in_at(session: SessionBase) -> datetime | None:
    said = session.get(SIGNED_IN_AT)
    return datetime.fromisoformat(said) if said else None


def has_ended(session: SessionBase) -> bool:
    """Tell whether a session is past its hours, or nobody knows when it began."""
    began = signed_in_at(session)
    return began is None or clock.now() - began >= settings.SESSION_LIFETIME
