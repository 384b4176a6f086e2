"""What the lapse rules are told of a session: the records around it, as plain facts.

Only what can bear on it is read (from the last pass before the session to the first
pass after it, for each procedure), so that a judgement costs the same in an old
archive as in a young one.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.db.models import QuerySet

from lab.checks.models import (
    ArtefactCheck,
    Break,
    CheckProcedure,
    Need,
    ProcedureRevision,
)
from lab.checks.selectors import counting_passes
from lab.environment.models import SpotReading
from lab.equipment.models import Device
from lab.equipment.selectors import calibration_spans, device_key
from lab.jobs.models import MeasuringSession
from lab.jobs.selectors import segments, thermometers_of
from lab.metrology import bracketing


@dataclass(frozen=True, slots=True)
class Facts:
    """All that :func:`lab.metrology.bracketing.judge` asks of one session."""

    session: bracketing.Session
    procedures: list[bracketing.Procedure]
    checks: list[bracketing.Check]
    breaks: list[bracketing.Break]
    calibrations: list[bracketing.Calibration]

    def judged(self, now: datetime) -> bracketing.Judgement:
        return bracketing.judge(
            self.session,
            self.procedures,
            self.checks,
            self.breaks,
            self.calibrations,
            (),
            now,
        )


def facts_of(session: MeasuringSession) -> Facts | None:
    """Return the facts about a session, or None while it has measured nothing."""
    measured = segments(session)
    if not measured:
        return None
    revisions = procedures_at(session)
    chain = chain_of(session, revisions)
    first, last = _span_of_checks(session, revisions)
    checks = checks_between(session.system_id, first, last)
    breaks = Break.objects.filter(system=session.system_id)
    return Facts(
        session=bracketing.Session(
            key=session_key(session.pk),
            system=system_key(session.system_id),
            segments=measured,
            chain=tuple(device_key(device.pk) for device in chain),
        ),
        procedures=[procedure_fact(revision) for revision in revisions],
        checks=[check_fact(check) for check in checks],
        breaks=[break_fact(one) for one in _breaks_around(breaks, first, last)],
        calibrations=calibration_spans(chain),
    )


def procedures_at(session: MeasuringSession) -> list[ProcedureRevision]:
    """Return, of each procedure that the system needed then, the revision of that time.

    A later revision does not judge what was measured under the one before; a session
    older than the first revision is judged by that one.
    """
    found = []
    needed = Need.objects.at(session.first_at).filter(system=session.system_id)
    procedures = CheckProcedure.objects.filter(pk__in=needed.values("procedure"))
    for procedure in procedures.order_by("pk"):
        rows = procedure.revisions.select_related("procedure", "artefact")
        then = rows.filter(recorded_at__lte=session.first_at).order_by("-number")
        revision = then.first() or rows.order_by("number").first()
        if revision is not None:
            found.append(revision)
    return found


def chain_of(
    session: MeasuringSession, revisions: Iterable[ProcedureRevision]
) -> list[Device]:
    """Return every device that a session's results lean on."""
    readings = SpotReading.objects.filter(
        room=session.room_id,
        superseded_by=None,
        at__gte=session.first_at - timedelta(hours=1),
        at__lte=session.last_at + timedelta(hours=1),
    )
    keys = {session.system.tracker_id, session.system.scanner_id}
    keys |= {revision.artefact_id for revision in revisions}
    keys |= set(thermometers_of(session).values_list("pk", flat=True))
    keys |= set(readings.values_list("sensor", flat=True))
    return list(Device.objects.filter(pk__in=keys).order_by("pk"))


# --- Records as facts ---------------------------------------------------------


def session_key(pk: int) -> str:
    return f"session:{pk}"


def system_key(pk: int) -> str:
    return f"system:{pk}"


def procedure_fact(revision: ProcedureRevision) -> bracketing.Procedure:
    return bracketing.Procedure(
        key=f"procedure:{revision.procedure_id}",
        valid_for=revision.valid_for,
        closing_within=revision.closing_within,
        closing_wanted=revision.closing_wanted,
    )


def check_fact(check: ArtefactCheck) -> bracketing.Check:
    return bracketing.Check(
        key=f"check:{check.pk}",
        system=system_key(check.system_id),
        procedure=f"procedure:{check.procedure.procedure_id}",
        start=check.started_at,
        end=check.ended_at,
        passed=check.passed,
        recorded_at=check.recorded_at,
        voided=hasattr(check, "void"),
        confirmed=hasattr(check, "late_confirmation"),
    )


def break_fact(one: Break) -> bracketing.Break:
    return bracketing.Break(
        key=f"break:{one.pk}", system=system_key(one.system_id), at=one.at
    )


# --- How far around a session to read -----------------------------------------


def checks_between(
    system_id: int, first: datetime | None, last: datetime | None
) -> QuerySet[ArtefactCheck]:
    """Return a system's checks from an instant to another, both included."""
    rows = ArtefactCheck.objects.filter(system=system_id)
    if first is not None:
        rows = rows.filter(started_at__gte=first)
    if last is not None:
        rows = rows.filter(ended_at__lte=last)
    return rows.select_related("procedure", "void", "late_confirmation")


def standing_passes(system_id: int) -> QuerySet[ArtefactCheck]:
    """Return the passes of a system that count without any doubt."""
    return counting_passes().filter(system=system_id)


def _span_of_checks(
    session: MeasuringSession, revisions: Iterable[ProcedureRevision]
) -> tuple[datetime | None, datetime | None]:
    """Return from the last pass before to the first pass after, of every procedure."""
    passes = standing_passes(session.system_id)
    before = passes.filter(ended_at__lte=session.first_at)
    after = passes.filter(started_at__gte=session.last_at)
    kinds = {revision.procedure_id for revision in revisions}
    starts = [_edge(before, kind, "-ended_at", "started_at") for kind in kinds]
    ends = [_edge(after, kind, "started_at", "ended_at") for kind in kinds]
    first = None if None in starts else min(s for s in starts if s) if starts else None
    last = None if None in ends else max(e for e in ends if e) if ends else None
    return first, last


def _edge(
    passes: QuerySet[ArtefactCheck], kind: int, order: str, column: str
) -> datetime | None:
    rows = passes.filter(procedure__procedure=kind).order_by(order)
    return rows.values_list(column, flat=True).first()


def _breaks_around(
    breaks: QuerySet[Break], first: datetime | None, last: datetime | None
) -> list[Break]:
    """Return the breaks in a span, the last before it and the first after it."""
    inside = breaks
    outside: list[Break | None] = []
    if first is not None:
        inside = inside.filter(at__gte=first)
        outside.append(breaks.filter(at__lt=first).order_by("-at").first())
    if last is not None:
        inside = inside.filter(at__lte=last)
        outside.append(breaks.filter(at__gt=last).order_by("at").first())
    return [*inside, *(one for one in outside if one is not None)]
