"""The live tile of a room, its readings as a table, its excursions acknowledged."""

from __future__ import annotations

from django.http import HttpResponse, StreamingHttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_safe

from lab.accounts.http import Request
from lab.common import clock
from lab.common.files.csvout import csv_lines
from lab.common.forms import accepted
from lab.common.pages import FORM_METHODS, done, form_page, posted
from lab.environment import services
from lab.environment.access import get_excursion_for, get_room_for, rooms_for
from lab.environment.forms.excursions import AcknowledgeForm
from lab.environment.stretches import stretch_asked_for
from lab.environment.tables import HEADER, rows_of
from lab.environment.tiles import tiles_of

AIR = "board:air"


@require_safe
def tile(request: Request, pk: int) -> HttpResponse:
    found = get_room_for(request.user, pk)
    (shown,) = tiles_of(rooms_for(request.user).filter(pk=found.pk), clock.now())
    return render(request, "environment/tile.html", {"tile": shown})


@require_safe
def table(request: Request, pk: int) -> StreamingHttpResponse:
    room = get_room_for(request.user, pk)
    stretch = stretch_asked_for(request.GET)
    lines = csv_lines(HEADER, rows_of(room, stretch))
    answer = StreamingHttpResponse(lines, content_type="text/csv; charset=utf-8")
    name = f"readings-room-{room.pk}-{stretch.start:%Y%m%dT%H%M}Z.csv"
    answer["Content-Disposition"] = f'attachment; filename="{name}"'
    return answer


@require_http_methods(FORM_METHODS)
def acknowledge(request: Request, pk: int) -> HttpResponse:
    found = get_excursion_for(request.user, pk)
    form = AcknowledgeForm(posted(request))
    if request.method == "POST" and accepted(
        form,
        lambda: services.acknowledge_excursion(
            excursion=found, acting_user=request.user, **form.cleaned_data
        ),
    ):
        return done(request, "The excursion is acknowledged.", AIR, found.room_id)
    return form_page(
        request,
        form,
        title=f"Acknowledge an excursion of {found.room.name}",
        back=reverse(AIR, args=[found.room_id]),
        lead=f"{found.get_kind_display()}: {found.worst_text}, limit {found.limit}.",
        submit="Acknowledge",
    )
