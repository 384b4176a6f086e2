"""Pages of the rooms: what the air is like, and what it was like."""

from __future__ import annotations

from django.http import HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_safe

from lab.accounts.http import Request
from lab.common import clock
from lab.common.forms import accepted
from lab.common.pages import FORM_METHODS, done, form_page, posted
from lab.common.paging import keyset_page
from lab.environment import services
from lab.environment.access import get_reading_for, get_room_for, rooms_for
from lab.environment.forms.spot import (
    CorrectionForm,
    ReadingForm,
    correction_starts_with,
    reading_starts_with,
)
from lab.environment.selectors import history_of
from lab.environment.selectors.excursions import newest_excursions
from lab.environment.tiles import tiles_of

ROOM = "environment:room"


@require_safe
def rooms(request: Request) -> HttpResponse:
    context = {
        "rooms": tiles_of(rooms_for(request.user).filter(in_use=True), clock.now()),
        "may_record": request.user.may("environment.record"),
    }
    return render(request, "environment/rooms.html", context)


@require_safe
def room(request: Request, pk: int) -> HttpResponse:
    found = get_room_for(request.user, pk)
    (now,) = tiles_of(rooms_for(request.user).filter(pk=pk), clock.now())
    context = {
        "room": found,
        "tile": now,
        "excursions": newest_excursions(found),
        "page": keyset_page(history_of(found), request.GET.get("page"), by="at"),
        "may_record": request.user.may("environment.record"),
    }
    return render(request, "environment/room.html", context)


@require_http_methods(FORM_METHODS)
def record(request: Request, pk: int) -> HttpResponse:
    found = get_room_for(request.user, pk)
    form = ReadingForm(posted(request), initial=reading_starts_with(found))
    if request.method == "POST" and accepted(
        form,
        lambda: services.record_spot_reading(
            room=found, acting_user=request.user, **form.cleaned_data
        ),
    ):
        return done(request, "The reading is recorded.", ROOM, pk)
    return form_page(
        request,
        form,
        title=f"Read the air of {found.name}",
        back=reverse(ROOM, args=[pk]),
        submit="Record the reading",
        big=True,
    )


@require_http_methods(FORM_METHODS)
def correct(request: Request, pk: int) -> HttpResponse:
    found = get_reading_for(request.user, pk)
    form = CorrectionForm(posted(request), initial=correction_starts_with(found))
    if request.method == "POST" and accepted(
        form,
        lambda: services.correct_spot_reading(
            reading=found, acting_user=request.user, **form.cleaned_data
        ),
    ):
        return done(request, "The reading is corrected.", ROOM, found.room_id)
    return form_page(
        request,
        form,
        title=f"Correct a reading of {found.room.name}",
        back=reverse(ROOM, args=[found.room_id]),
        lead="The old value stays in the record beside the new one.",
        submit="Correct",
    )
