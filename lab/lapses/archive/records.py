"""The records that bear on all sessions of a system, read once."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta

from lab.checks.models import (
    ArtefactCheck,
    Break,
    MeasuringSystem,
    Need,
    ProcedureRevision,
)
from lab.environment.models import Excursion, SensorPlacement
from lab.equipment.models import Device
from lab.equipment.selectors import calibration_spans
from lab.jobs.models import MeasuringSession
from lab.lapses.facts import (
    break_fact,
    check_fact,
    checks_of,
)
from lab.lapses.models import LaterFinding
from lab.metrology import bracketing

#: No check takes longer: after so long, one that ended later began later as well.
_LONGEST_CHECK = timedelta(days=1)


@dataclass(frozen=True, slots=True)
class House:
    """What bears on the sessions of every system."""

    spans: list[bracketing.Calibration]
    later: list[LaterFinding]
    watched_rooms: frozenset[int]

    @classmethod
    def read(cls) -> House:
        placed = SensorPlacement.objects.order_by().values_list("room", flat=True)
        outside = Excursion.objects.order_by().values_list("room", flat=True)
        return cls(
            spans=calibration_spans(Device.objects.all()),
            later=list(LaterFinding.objects.order_by("pk")),
            watched_rooms=frozenset({*placed.distinct(), *outside.distinct()} - {None}),
        )


@dataclass(frozen=True, slots=True)
class Passes:
    """The standing passes of one procedure, by their ends and by their starts."""

    ends: list[datetime] = field(default_factory=list)
    by_end: list[ArtefactCheck] = field(default_factory=list)
    starts: list[datetime] = field(default_factory=list)
    by_start: list[ArtefactCheck] = field(default_factory=list)

    @classmethod
    def of(cls, checks: Iterable[ArtefactCheck]) -> Passes:
        rows = list(checks)
        # Of equal ends the earliest start stands last, of equal starts the latest end
        # first: as `checks_around` picks them.
        rows.sort(key=lambda one: one.started_at, reverse=True)
        by_end = sorted(rows, key=lambda one: one.ended_at)
        rows.sort(key=lambda one: one.ended_at, reverse=True)
        by_start = sorted(rows, key=lambda one: one.started_at)
        return cls(
            [one.ended_at for one in by_end],
            by_end,
            [one.started_at for one in by_start],
            by_start,
        )

    def around(self, session: MeasuringSession) -> Iterator[ArtefactCheck]:
        """Yield from the last pass before a session to the first pass after it."""
        before = bisect_right(self.ends, session.first_at) - 1
        first = self.by_end[before].started_at if before >= 0 else None
        after = bisect_left(self.starts, session.last_at)
        running = session.state == MeasuringSession.State.RUNNING
        is_last = running or after == len(self.starts)
        last = None if is_last else self.by_start[after].ended_at
        place = 0 if first is None else bisect_left(self.ends, first)
        for check in self.by_end[place:]:
            if last is not None and check.ended_at > last + _LONGEST_CHECK:
                return
            if last is None or check.started_at <= last:
                yield check


@dataclass(frozen=True, slots=True)
class Records:
    """All that is recorded of one system."""

    system: MeasuringSystem
    needs: list[Need]
    revisions: dict[int, list[ProcedureRevision]]
    passes: dict[int, Passes]
    checks: list[bracketing.Check]
    breaks: list[bracketing.Break]

    @classmethod
    def of(cls, system: MeasuringSystem) -> Records:
        rows = list(checks_of(system.pk))
        facts = [check_fact(row) for row in rows]
        breaks = [break_fact(one) for one in Break.objects.filter(system=system)]
        standing: dict[int, list[ArtefactCheck]] = {}
        instants = sorted(one.at for one in breaks)
        for row, fact in zip(rows, facts, strict=True):
            if row.passed and fact.counts and not _astride(row, instants):
                standing.setdefault(row.procedure.procedure_id, []).append(row)
        needs = list(Need.objects.filter(system=system))
        revisions = ProcedureRevision.objects.filter(
            procedure__in={need.procedure_id for need in needs}
        )
        by_procedure: dict[int, list[ProcedureRevision]] = {}
        for revision in revisions.order_by("procedure", "number"):
            by_procedure.setdefault(revision.procedure_id, []).append(revision)
        passes = {kind: Passes.of(checks) for kind, checks in standing.items()}
        return cls(system, needs, by_procedure, passes, facts, breaks)

    def revisions_at(self, session: MeasuringSession) -> tuple[ProcedureRevision, ...]:
        """Return, of each procedure needed then, the revision of that time."""
        at = session.first_at
        needed = {
            need.procedure_id
            for need in self.needs
            if need.since <= at and (need.until is None or need.until > at)
        }
        found = []
        for kind in sorted(needed & self.revisions.keys()):
            rows = self.revisions[kind]
            then = [one for one in rows if one.recorded_at <= at]
            found.append(then[-1] if then else rows[0])
        return tuple(found)


def _astride(check: ArtefactCheck, instants: Sequence[datetime]) -> bool:
    place = bisect_right(instants, check.started_at)
    return place < len(instants) and instants[place] < check.ended_at
