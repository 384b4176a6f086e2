"""What belongs to some sessions alone: their events, temperatures, room, people."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import groupby

from lab.checks.models import (
    ProcedureRevision,
)
from lab.environment.models import SpotReading
from lab.jobs.models import MeasuringSession, PartTemperature, SessionEvent
from lab.jobs.selectors import STARTING
from lab.lapses.authority import authority_of
from lab.lapses.facts import (
    ROOM_MARGIN,
)
from lab.lapses.later import affected_tasks
from lab.metrology import bracketing


@dataclass(frozen=True, slots=True)
class Chunk:
    """What belongs to some sessions of one system alone."""

    segments: dict[int, tuple[bracketing.Segment, ...]]
    thermometers: dict[int, set[int]]
    affected: dict[int, list[tuple[int, int]]]
    authority: dict[int, list[bracketing.LaterFinding]]
    readings: dict[int, tuple[list[datetime], list[int]]]

    @classmethod
    def of(cls, sessions: Sequence[MeasuringSession]) -> Chunk:
        keys = [session.pk for session in sessions]
        warmed: dict[int, set[int]] = {}
        temperatures = PartTemperature.objects.filter(
            session__in=keys, superseded_by=None
        ).order_by()
        for session, meter in temperatures.values_list("session", "thermometer"):
            warmed.setdefault(session or 0, set()).add(meter)
        affected: dict[int, list[tuple[int, int]]] = {}
        for session, task in affected_tasks(keys):
            affected.setdefault(session, []).append((session, task))
        return cls(
            _segments(keys),
            warmed,
            affected,
            authority_of(sessions),
            _readings(sessions),
        )

    def chain(
        self, session: MeasuringSession, revisions: Iterable[ProcedureRevision]
    ) -> frozenset[int]:
        instants, sensors = self.readings.get(session.room_id, ([], []))
        first = bisect_left(instants, session.first_at - ROOM_MARGIN)
        last = bisect_right(instants, session.last_at + ROOM_MARGIN)
        return frozenset(
            {
                session.system.tracker_id,
                session.system.scanner_id,
                *(revision.artefact_id for revision in revisions),
                *self.thermometers.get(session.pk, ()),
                *sensors[first:last],
            }
        )


def _segments(keys: Sequence[int]) -> dict[int, tuple[bracketing.Segment, ...]]:
    rows = SessionEvent.objects.filter(session__in=keys, superseded_by=None)
    ordered = rows.order_by("session", "at", "pk").values_list("session", "kind", "at")
    found = {}
    for session, events in groupby(ordered, key=lambda row: row[0]):
        measured: list[bracketing.Segment] = []
        start = None
        for _, kind, at in events:
            if kind in STARTING:
                start = at
            elif start is not None:
                measured.append(bracketing.Segment(start, at))
                start = None
        if start is not None:
            measured.append(bracketing.Segment(start))
        if measured:
            found[session] = tuple(measured)
    return found


def _readings(
    sessions: Sequence[MeasuringSession],
) -> dict[int, tuple[list[datetime], list[int]]]:
    rows = SpotReading.objects.filter(
        room__in={session.room_id for session in sessions},
        superseded_by=None,
        at__gte=min(session.first_at for session in sessions) - ROOM_MARGIN,
        at__lte=max(session.last_at for session in sessions) + ROOM_MARGIN,
    )
    found: dict[int, tuple[list[datetime], list[int]]] = {}
    for room, at, sensor in rows.order_by("at", "pk").values_list(
        "room", "at", "sensor"
    ):
        instants, sensors = found.setdefault(room, ([], []))
        instants.append(at)
        sensors.append(sensor)
    return found
