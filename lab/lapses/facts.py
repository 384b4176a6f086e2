"""What the lapse rules are told of a session: the records around it, as plain facts.

Only what can bear on it is read (from the last pass before the session to the first
pass after it, for each procedure), so that a judgement costs the same in an old
archive as in a young one.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.db.models import Q, QuerySet

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
from lab.lapses.authority import authority_of
from lab.lapses.conditions import conditions_of
from lab.lapses.keys import procedure_key, session_key, system_key
from lab.lapses.later import (
    Around,
    affected_tasks,
    facts_found_later,
    later_rows,
)
from lab.metrology import bracketing

#: How far before and after a session the room's readings are part of its evidence.
ROOM_MARGIN = timedelta(hours=1)


@dataclass(frozen=True, slots=True)
class Facts:
    """All that :func:`lab.metrology.bracketing.judge` asks of one session."""

    session: bracketing.Session
    procedures: list[bracketing.Procedure]
    checks: list[bracketing.Check]
    breaks: list[bracketing.Break]
    calibrations: list[bracketing.Calibration]
    later: list[bracketing.LaterFinding]

    def judged(self, now: datetime) -> bracketing.Judgement:
        return bracketing.judge(
            self.session,
            self.procedures,
            self.checks,
            self.breaks,
            self.calibrations,
            self.later,
            now,
        )


def facts_of(session: MeasuringSession) -> Facts | None:
    """Return the facts about a session, or None while it has measured nothing."""
    measured = segments(session)
    if not measured:
        return None
    revisions = procedures_at(session)
    chain = [device.pk for device in chain_of(session, revisions)]
    checks = list(checks_around(session))
    spans = calibration_spans_of({*chain, *devices_of_checks(checks)})
    around = Around(
        session=session_key(session.pk),
        segments=measured,
        chain=frozenset(chain),
        system=session.system_id,
        procedures=frozenset(revision.procedure_id for revision in revisions),
        checks=checks,
        spans=spans,
    )
    return Facts(
        session=bracketing.Session(
            key=around.session,
            system=system_key(session.system_id),
            segments=measured,
            chain=tuple(device_key(pk) for pk in chain),
        ),
        procedures=[procedure_fact(revision) for revision in revisions],
        checks=[check_fact(check) for check in checks],
        breaks=[break_fact(one) for one in _breaks_around(session, checks)],
        calibrations=spans,
        later=[
            *facts_found_later(
                around, later_rows(around), affected_tasks([session.pk])
            ),
            *authority_of([session]).get(session.pk, ()),
            *conditions_of(session, measured, around.session),
        ],
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
    """Return every device that a session's results lean on while it measures."""
    readings = SpotReading.objects.filter(
        room=session.room_id,
        superseded_by=None,
        at__gte=session.first_at - ROOM_MARGIN,
        at__lte=session.last_at + ROOM_MARGIN,
    )
    keys = {session.system.tracker_id, session.system.scanner_id}
    keys |= {revision.artefact_id for revision in revisions}
    keys |= set(thermometers_of(session).values_list("pk", flat=True))
    keys |= set(readings.values_list("sensor", flat=True))
    return list(Device.objects.filter(pk__in=keys).order_by("pk"))


def devices_of_checks(checks: Iterable[ArtefactCheck]) -> set[int]:
    """Return the devices that checks lean on, beside the system's own."""
    found: set[int] = set()
    for check in checks:
        found |= {check.thermometer_id, check.procedure.artefact_id}
    return found


def calibration_spans_of(devices: Iterable[int]) -> list[bracketing.Calibration]:
    return calibration_spans(Device.objects.filter(pk__in=list(devices)))


# --- Records as facts ---------------------------------------------------------


def procedure_fact(revision: ProcedureRevision) -> bracketing.Procedure:
    return bracketing.Procedure(
        key=procedure_key(revision.procedure_id),
        valid_for=revision.valid_for,
        closing_within=revision.closing_within,
        closing_wanted=revision.closing_wanted,
    )


def check_fact(check: ArtefactCheck) -> bracketing.Check:
    return bracketing.Check(
        key=f"check:{check.pk}",
        system=system_key(check.system_id),
        procedure=procedure_key(check.procedure.procedure_id),
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


def checks_of(system_id: int) -> QuerySet[ArtefactCheck]:
    """Return a system's checks with all that makes facts of them."""
    rows = ArtefactCheck.objects.filter(system=system_id)
    return rows.select_related("procedure", "void", "late_confirmation")


def standing_passes(system_id: int) -> QuerySet[ArtefactCheck]:
    """Return the passes of a system that count without any doubt."""
    return counting_passes().filter(system=system_id)


def kinds_of(system_id: int) -> list[int]:
    """Return the procedures that a system ever needed: a fail of any is a fail."""
    rows = Need.objects.filter(system=system_id).order_by("procedure")
    return list(rows.values_list("procedure", flat=True).distinct())


def checks_around(session: MeasuringSession) -> QuerySet[ArtefactCheck]:
    """Return, of each procedure, the checks from the last pass before a session to
    the first pass after it; while it runs, all that came since.
    """
    passes = standing_passes(session.system_id)
    runs = session.state == MeasuringSession.State.RUNNING
    wanted = Q(pk__in=())
    for kind in kinds_of(session.system_id):
        own = passes.filter(procedure__procedure=kind)
        reach = Q(procedure__procedure=kind)
        before = own.filter(ended_at__lte=session.first_at)
        before = before.order_by("-ended_at", "started_at")
        first = before.values_list("started_at", flat=True).first()
        if first is not None:
            reach &= Q(ended_at__gte=first)
        after = own.filter(started_at__gte=session.last_at)
        after = after.order_by("started_at", "-ended_at")
        last = None if runs else after.values_list("ended_at", flat=True).first()
        if last is not None:
            reach &= Q(started_at__lte=last)
        wanted |= reach
    return checks_of(session.system_id).filter(wanted)


def _breaks_around(
    session: MeasuringSession, checks: Sequence[ArtefactCheck]
) -> list[Break]:
    """Return the breaks among the checks, the last before them and the first after."""
    first = min([session.first_at, *(check.started_at for check in checks)])
    last = max([session.last_at, *(check.ended_at for check in checks)])
    breaks = Break.objects.filter(system=session.system_id)
    inside = breaks.filter(at__gte=first)
    outside = [breaks.filter(at__lt=first).order_by("-at").first()]
    if session.state != MeasuringSession.State.RUNNING:
        inside = inside.filter(at__lte=last)
        outside.append(breaks.filter(at__gt=last).order_by("at").first())
    return [*inside, *(one for one in outside if one is not None)]
