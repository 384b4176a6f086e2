"""The air during a session as facts for the lapse rules: excursions and gaps in it.

Limits are those of the room and of the agreed method; readings are the loggers'. What
was found is open until somebody has assessed it in µm on the characteristics.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import datetime

from lab.common import clock
from lab.environment.finding import Found, RoomReadings, excursions_in, lead_in
from lab.environment.models import Excursion
from lab.environment.selectors import sensors_in
from lab.jobs.models import MeasuringSession
from lab.jobs.selectors import agreement_in_force
from lab.metrology import bracketing

Span = tuple[str, datetime, datetime]
PREFIX = "conditions"


def conditions_of(
    session: MeasuringSession, measured: Sequence[bracketing.Segment], about: str
) -> list[bracketing.LaterFinding]:
    """Return what the air was like against the limits, one fact a kind of limit."""
    spans = spans_outside(session, measured)
    by_kind: dict[str, list[Span]] = {}
    for span in spans:
        by_kind.setdefault(span[0], []).append(span)
    return [
        bracketing.LaterFinding(
            key=f"{PREFIX}:{kind}",
            about=about,
            start=min(span[1] for span in own),
            end=max(span[2] for span in own),
            name=bracketing.FindingName.CONDITIONS,
        )
        for kind, own in sorted(by_kind.items())
    ]


def spans_outside(
    session: MeasuringSession, measured: Sequence[bracketing.Segment]
) -> list[Span]:
    """Return the stretches of measuring that were outside a limit or not read."""
    if not measured:
        return []
    now = clock.now()
    windows = [(one.start, one.end or now) for one in measured]
    first, last = windows[0][0], windows[-1][1]
    known = Excursion.objects.filter(
        room=session.room_id, in_force=True, start__lt=last, end__gt=first
    )
    spans: list[Span] = [(one.kind, one.start, one.end) for one in known]
    method = _of_method(session, first, last)
    spans += [(one.kind, one.start, one.end) for one in method]
    return list(_cut(spans, windows))


def _of_method(
    session: MeasuringSession, first: datetime, last: datetime
) -> list[Found]:
    """Return what was outside the agreed method's own limits."""
    agreement = agreement_in_force(session.job)
    if agreement is None or last <= first:
        return []
    if not sensors_in(session.room, first, last):
        return []
    limits = agreement.method
    given = RoomReadings.of(session.room, first - lead_in(limits), last)
    return excursions_in(given, limits)


def _cut(
    spans: Iterable[Span], windows: Sequence[tuple[datetime, datetime]]
) -> Iterable[Span]:
    for kind, start, end in spans:
        for first, last in windows:
            if start < last and end > first:
                yield kind, max(start, first), min(end, last)


def sessions_touched_by(excursion: Excursion) -> list[MeasuringSession]:
    """Return the sessions in an excursion's room that overlap with it."""
    rows = MeasuringSession.objects.filter(
        room=excursion.room_id, first_at__lt=excursion.end
    )
    rows = rows.select_related("system", "job", "room")
    running = rows.exclude(state=MeasuringSession.State.ENDED)
    touched = rows.filter(last_at__gt=excursion.start)
    return list({one.pk: one for one in [*touched, *running]}.values())
