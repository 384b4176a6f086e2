"""What falls due: the list, twelve months, and the two ways to be reminded."""

from __future__ import annotations

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_POST, require_safe

from lab.accounts.http import Request
from lab.common import clock
from lab.common.pages import done
from lab.equipment import services
from lab.equipment.calendars import CONTENT_TYPE, address_of, calendar_of, person_of
from lab.equipment.digests import wants_digest
from lab.equipment.due import due_days, rows_of, strip_of
from lab.equipment.models import CalendarFeed
from lab.laboratory.selectors import home_zone, the_laboratory

REMINDERS = "equipment:reminders"


@require_safe
def due(request: Request) -> HttpResponse:
    today = clock.today(home_zone())
    rows = rows_of(due_days(today), today)
    context = {"rows": rows, "strip": strip_of(rows, today)}
    return render(request, "equipment/due.html", context)


@require_safe
def reminders(request: Request) -> HttpResponse:
    feed = CalendarFeed.objects.filter(person=request.user, revoked_at=None).first()
    context = {"feed": feed, "wants_digest": wants_digest(request.user)}
    return render(request, "equipment/reminders.html", context)


@require_POST
@never_cache
def make_feed(request: Request) -> HttpResponse:
    """Show the new address, on this page alone: nobody can look it up later."""
    token = services.make_feed(acting_user=request.user)
    context = {"address": address_of(token)}
    return render(request, "equipment/feed_shown_once.html", context)


@require_POST
def revoke_feed(request: Request) -> HttpResponse:
    services.revoke_feed(acting_user=request.user)
    return done(request, "The calendar's address is void.", REMINDERS)


@require_POST
def choose_digest(request: Request) -> HttpResponse:
    is_wanted = request.POST.get("wanted") == "yes"
    services.choose_digest(is_wanted=is_wanted, acting_user=request.user)
    said = "You get the weekly mail." if is_wanted else "You get no weekly mail."
    return done(request, said, REMINDERS)


@require_safe
def calendar(_request: HttpRequest, token: str) -> HttpResponse:
    """Hand out due dates by a secret address; no session, nothing else."""
    if person_of(token) is None:
        raise Http404("There is no such calendar.")
    laboratory = the_laboratory()
    title = f"Due dates, {laboratory.name}" if laboratory else "Due dates"
    dues = due_days(clock.today(home_zone()))
    answer = HttpResponse(
        calendar_of(dues, title=title, now=clock.now()), content_type=CONTENT_TYPE
    )
    answer["Cache-Control"] = "private, no-store"
    answer["X-Content-Type-Options"] = "nosniff"
    return answer
