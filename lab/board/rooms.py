"""The page of a room's air: what was read, against what was measured meanwhile."""

from __future__ import annotations

from django.http import HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from lab.accounts.http import Request
from lab.checks.models import Break
from lab.common import clock
from lab.common.charts import Band, Mark, Tone
from lab.environment.access import get_room_for, rooms_for
from lab.environment.charting import chart_of, excursion_bands
from lab.environment.models import AirQuantity
from lab.environment.selectors.excursions import excursions_of
from lab.environment.stretches import Stretch, stretch_asked_for
from lab.environment.tiles import tiles_of
from lab.jobs.models import MeasuringSession
from lab.jobs.selectors import segments
from lab.laboratory.models import Room

#: So many excursions are listed; all of them are in the picture.
LISTED = 200


@require_safe
def air(request: Request, pk: int) -> HttpResponse:
    room = get_room_for(request.user, pk)
    stretch = stretch_asked_for(request.GET)
    (tile,) = tiles_of(rooms_for(request.user).filter(pk=pk), clock.now())
    rows = list(excursions_of(room, stretch.start, stretch.end))
    sessions = sessions_in(room, stretch)
    bands = [*_measured(sessions, stretch), *excursion_bands(rows, stretch)]
    marks = noted_in(room, stretch)
    charts = [chart_of(room, one, stretch, bands, marks) for one in AirQuantity]
    context = {
        "room": room,
        "tile": tile,
        "stretch": stretch,
        "charts": [one for one in charts if one is not None],
        "excursions": rows[:LISTED],
        "more": max(0, len(rows) - LISTED),
        "sessions": sessions,
        "marks": marks,
        "may_record": request.user.may("environment.record"),
    }
    return render(request, "board/air.html", context)


def sessions_in(room: Room, stretch: Stretch) -> list[MeasuringSession]:
    """Return the sessions in a room that overlap with a stretch, newest first."""
    rows = MeasuringSession.objects.filter(room=room, first_at__lt=stretch.end)
    ended = MeasuringSession.State.ENDED
    return [
        one
        for one in rows.select_related("job", "system").order_by("-first_at")[:500]
        if one.last_at > stretch.start or one.state != ended
    ]


def noted_in(room: Room, stretch: Stretch) -> list[Mark]:
    """Return the breaks of the systems that stand in a room, as marks."""
    rows = Break.objects.filter(
        system__tracker__room=room, at__gte=stretch.start, at__lt=stretch.end
    ).select_related("system")
    return [
        Mark(one.at, "B", f"{one.get_kind_display()} of {one.system}")
        for one in rows.order_by("at")
    ]


def _measured(sessions: list[MeasuringSession], stretch: Stretch) -> list[Band]:
    now = clock.now()
    return [
        Band(
            part.start,
            part.end or now,
            f"Session {one.pk} of {one.job.number} with {one.system}",
            Tone.GOOD,
        )
        for one in sessions
        for part in segments(one)
        if part.start < stretch.end and (part.end or now) > stretch.start
    ]
