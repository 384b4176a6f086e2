"""What leans on a device or a check over a stretch of time, in time order."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from django.db.models import Q, QuerySet

from lab.certificates.models import Certificate
from lab.checks.models import ArtefactCheck, MeasuringSystem
from lab.equipment.models import Device
from lab.evidence.reach import unique
from lab.jobs.models import Job, MeasuringSession, PartTemperature
from lab.lapses.facts import standing_passes
from lab.lapses.reach import sessions_between
from lab.lapses.selectors import systems_of_device

#: So many rows of a kind are shown; a shorter period shows the others.
MOST = 200


@dataclass(frozen=True, slots=True)
class Leaning:
    """Systems, checks, sessions, jobs and certificates that lean on something."""

    start: datetime
    end: datetime
    systems: Sequence[MeasuringSystem]
    checks: Sequence[ArtefactCheck]
    sessions: Sequence[MeasuringSession]
    certificates: Sequence[Certificate]
    is_cut: bool

    @property
    def jobs(self) -> list[Job]:
        return unique(session.job for session in self.sessions)


def leaning_on_device(device: Device, start: datetime, end: datetime) -> Leaning:
    """Return what used a device: in its system, as artefact, or as thermometer."""
    systems = list(systems_of_device(device).select_related("tracker", "scanner"))
    measured = Q(system__in=systems) | Q(
        pk__in=PartTemperature.objects.filter(
            thermometer=device, session__isnull=False
        ).values("session")
    )
    checks = ArtefactCheck.objects.filter(
        Q(system__tracker=device)
        | Q(system__scanner=device)
        | Q(procedure__artefact=device)
        | Q(thermometer=device)
    )
    return _leaning(systems, checks, _within(measured, start, end), start, end)


def leaning_on_check(check: ArtefactCheck) -> Leaning:
    """Return what lies between the pass before a check and the pass after it."""
    own = standing_passes(check.system_id).filter(
        procedure__procedure=check.procedure.procedure_id
    )
    before = own.filter(ended_at__lte=check.started_at).order_by("-started_at").first()
    after = own.filter(started_at__gte=check.ended_at).order_by("ended_at").first()
    sessions = sessions_between(
        check.system,
        before.started_at if before else None,
        after.ended_at if after else None,
    )
    rows = list(_with_records(sessions)[: MOST + 1])
    times = [check.started_at, check.ended_at]
    times += [at for one in rows for at in (one.first_at, one.last_at)]
    times += [one.started_at for one in (before, after) if one]
    start, end = min(times), max(times)
    checks = check.system.checks.filter(
        procedure__procedure=check.procedure.procedure_id
    )
    return _leaning([check.system], checks, rows, start, end)


def _within(measured: Q, start: datetime, end: datetime) -> list[MeasuringSession]:
    runs = Q(state=MeasuringSession.State.RUNNING)
    rows = MeasuringSession.objects.filter(
        measured, Q(last_at__gte=start) | runs, first_at__lt=end
    )
    return list(_with_records(rows)[: MOST + 1])


def _with_records(rows: QuerySet[MeasuringSession]) -> QuerySet[MeasuringSession]:
    return rows.select_related(
        "job__customer", "job__part_revision__part", "system", "room", "judgement"
    ).order_by("first_at", "pk")


def _leaning(
    systems: Sequence[MeasuringSystem],
    checks: QuerySet[ArtefactCheck],
    sessions: Sequence[MeasuringSession],
    start: datetime,
    end: datetime,
) -> Leaning:
    shown = sessions[:MOST]
    in_time = checks.filter(ended_at__gte=start, started_at__lte=end)
    rows = list(
        in_time.select_related(
            "system", "procedure__procedure", "void", "late_confirmation"
        ).order_by("ended_at", "pk")[: MOST + 1]
    )
    certificates = Certificate.objects.filter(
        certified_results__result__session__in=[one.pk for one in shown]
    ).distinct()
    return Leaning(
        start=start,
        end=end,
        systems=systems,
        checks=rows[:MOST],
        sessions=shown,
        certificates=list(
            certificates.select_related("job__customer").order_by("number")
        ),
        is_cut=len(sessions) > MOST or len(rows) > MOST,
    )
