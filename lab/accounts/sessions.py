"""What a session remembers: when its person came in, and whether others use the device.

A session ends twelve hours after its sign-in, however busy it is. On a shared tablet
it also ends after fifteen idle minutes; the tablet's lock page then asks who is there.
"""

from __future__ import annotations

from datetime import datetime, timedelta
from urllib.parse import urlencode, urlsplit

from django.conf import settings
from django.contrib.sessions.backends.base import SessionBase
from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils.http import url_has_allowed_host_and_scheme

from lab.accounts.http import Request
from lab.accounts.models import Tablet, User
from lab.accounts.secrets import digest_of
from lab.common import clock

SIGNED_IN_AT = "signed_in_at"
TABLET = "tablet"
WANTS_TABLET = "wants_tablet"
LAST_ACT_AT = "last_act_at"
ENROLMENT_KEY = "enrolment_key"
ENROLS_ANEW = "enrols_anew"
TABLET_COOKIE = "unbroken_tablet"
#: Browsers keep a cookie for 400 days at the most.
TABLET_COOKIE_AGE = 400 * 24 * 3600
TABLET_NAMES_KEPT = timedelta(days=30)


# --- Twelve hours ---------------------------------------------------------------------


def stamp_sign_in(session: SessionBase) -> None:
    """Start the session's twelve hours."""
    session[SIGNED_IN_AT] = clock.now().isoformat()


def has_ended(session: SessionBase) -> bool:
    """Tell whether a session is past its hours, or nobody knows when it began."""
    began = _instant(session, SIGNED_IN_AT)
    return began is None or clock.now() - began >= settings.SESSION_LIFETIME


# --- Shared tablets -------------------------------------------------------------------


def stamp_tablet(session: SessionBase, tablet: Tablet) -> None:
    """Make a session one that locks when the tablet lies idle."""
    session[TABLET] = tablet.pk
    stamp_act(session)


def is_on_tablet(session: SessionBase) -> bool:
    return TABLET in session


def stamp_act(session: SessionBase) -> None:
    session[LAST_ACT_AT] = clock.now().isoformat()


def is_idle(session: SessionBase) -> bool:
    """Tell whether a shared tablet lay untouched for too long."""
    if not is_on_tablet(session):
        return False
    last = _instant(session, LAST_ACT_AT)
    return last is None or clock.now() - last >= settings.SHARED_TABLET_IDLE


def is_act(request: HttpRequest) -> bool:
    """Tell whether a request shows that somebody touched the tablet.

    A page that asks for its own fragments, progress for one, must not keep a
    forgotten tablet awake; what a person loads or sends does.
    """
    by_script = bool(request.headers.get("HX-Request")) or (
        request.headers.get("Sec-Fetch-Dest", "document") != "document"
    )
    return request.method not in {"GET", "HEAD"} or not by_script


def tablet_of(request: HttpRequest) -> Tablet | None:
    """Return the shared tablet that this browser is, by its cookie."""
    token = request.COOKIES.get(TABLET_COOKIE, "")
    return Tablet.objects.filter(digest=digest_of(token)).first() if token else None


def people_lately_on(tablet: Tablet) -> list[User]:
    """Return who signed in on a tablet in the last month, the latest first."""
    since = clock.now() - TABLET_NAMES_KEPT
    lately = tablet.people.filter(last_at__gt=since, person__is_active=True)
    return [row.person for row in lately.select_related("person").order_by("-last_at")]


def remember_tablet(response: HttpResponse, token: str) -> None:
    """Give the browser the secret by which its tablet is known."""
    response.set_cookie(
        TABLET_COOKIE,
        token,
        max_age=TABLET_COOKIE_AGE,
        httponly=True,
        samesite="Lax",
        secure=settings.SESSION_COOKIE_SECURE,
    )


# --- Where to go on -------------------------------------------------------------------


def safe_path(said: str | None) -> str:
    """Return a path of ours to go on to, or the front page for anything else."""
    if said and url_has_allowed_host_and_scheme(said, allowed_hosts=None):
        parts = urlsplit(said)
        if said.startswith("/") and not parts.netloc:
            return said
    return reverse(settings.LOGIN_REDIRECT_URL)


def place_of(request: Request) -> str:
    """Return the path of the page that a person is on, to come back to.

    For a fragment that is the page around it; for a form that was sent, the page
    with the form, because what was sent can't be sent again.
    """
    if request.htmx:
        return safe_path(request.htmx.current_url_abs_path)
    if request.method in {"GET", "HEAD"}:
        return request.get_full_path()
    parts = urlsplit(request.headers.get("Referer", ""))
    if parts.netloc != request.get_host():
        return safe_path(None)
    return safe_path(f"{parts.path}?{parts.query}" if parts.query else parts.path)


def address_with_next(page: str, path: str) -> str:
    """Return a page's address with ``?next=``, where the path is worth keeping."""
    address = reverse(page)
    if path == reverse(settings.LOGIN_REDIRECT_URL):
        return address
    return f"{address}?{urlencode({'next': path})}"


def _instant(session: SessionBase, key: str) -> datetime | None:
    said = session.get(key)
    return datetime.fromisoformat(said) if said else None
