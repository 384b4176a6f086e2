"""What was found about sessions, and which are due to be judged."""

from __future__ import annotations

from datetime import datetime, time, timedelta

from django.db.models import (
    CharField,
    DateTimeField,
    Exists,
    OuterRef,
    Q,
    QuerySet,
    Subquery,
    Value,
)
from django.db.models.functions import Coalesce

from lab.checks.models import ArtefactCheck, MeasuringSystem
from lab.checks.selectors import counting_passes
from lab.common import clock
from lab.environment.models import SpotReading
from lab.equipment.models import Calibration, Device
from lab.jobs.models import Job, MeasuringSession, PartTemperature, SessionEvent
from lab.jobs.selectors import STARTING
from lab.laboratory.selectors import home_zone
from lab.lapses.facts import ROOM_MARGIN
from lab.lapses.models import Finding, Judgement, LaterFinding
from lab.lapses.suspicions import (
    Related,
    related_sessions,
    sessions_in_window,
    suspicion_window,
    undecided_suspicions,
    undecided_tasks,
)
from lab.metrology.bracketing import FindingName

__all__ = [
    "Related",
    "anything_due",
    "due_judgements",
    "findings_of",
    "findings_of_cause",
    "judgement_of",
    "later_findings_of",
    "related_sessions",
    "sessions_around_reading",
    "sessions_in_window",
    "sessions_of_device",
    "sessions_of_person",
    "suspicion_window",
    "undecided_suspicions",
    "undecided_tasks",
]

#: Findings that are easier to clear when one knows what the next check said.
WITH_NEXT_CHECK = (FindingName.LAPSED, FindingName.UNCHECKED, FindingName.UNCLOSED)


def findings_of(job: Job) -> QuerySet[Finding]:
    """Return the findings on a job's sessions, with their holds and clearances.

    ``next_verdict`` is what the next check of the same procedure said, as it stands
    now: empty where none came yet.
    """
    rows = Finding.objects.filter(session__job=job)
    return _with_next_check(_with_records(rows)).order_by("session", "pk")


def findings_of_cause(cause: str) -> QuerySet[Finding]:
    """Return all findings, of whatever job, that one record raised."""
    return _with_records(Finding.objects.filter(cause=cause)).order_by("pk")


def _with_records(rows: QuerySet[Finding]) -> QuerySet[Finding]:
    return rows.select_related(
        "session__system",
        "session__job",
        "hold__job",
        "hold__clearance__cleared_by",
    )


def _with_next_check(rows: QuerySet[Finding]) -> QuerySet[Finding]:
    ended = Coalesce(
        OuterRef("window_until"),
        OuterRef("session__last_at"),
        output_field=DateTimeField(),
    )
    fails = Q(verdict=ArtefactCheck.Verdict.FAIL, void=None)
    passes = Q(pk__in=counting_passes().values("pk"))
    checks = ArtefactCheck.objects.filter(
        fails | passes,
        system=OuterRef("session__system"),
        procedure__procedure=OuterRef("procedure"),
        started_at__gte=ended,
    ).order_by("started_at", "verdict", "pk")
    return rows.annotate(
        next_verdict=Coalesce(
            Subquery(checks.values("verdict")[:1], output_field=CharField()), Value("")
        )
    )


def judgement_of(session: MeasuringSession) -> Judgement | None:
    return Judgement.objects.filter(session=session).first()


def due_judgements() -> QuerySet[Judgement]:
    """Return the judgements that passing time has changed, the oldest first."""
    rows = Judgement.objects.filter(judge_again_at__lte=clock.now())
    return rows.order_by("judge_again_at")


def anything_due() -> bool:
    return due_judgements().exists()


def later_findings_of(device: Device) -> QuerySet[LaterFinding]:
    return device.later_findings.select_related("recorded_by", "calibration")


# --- What an event of a device, a person or a room reaches ---------------------------


def sessions_of_device(device: Device) -> QuerySet[MeasuringSession]:
    """Return the sessions that a device's newest records may bear on.

    They measured with it, or a check before or after them leant on it.
    """
    rows = MeasuringSession.objects.filter(
        Q(system__in=systems_of_device(device))
        | Q(pk__in=_warmed_by(device))
        | Q(room__in=_rooms_of(device))
    )
    since = _newest_records_since(device)
    if since is not None:
        runs = Q(state=MeasuringSession.State.RUNNING)
        rows = rows.filter(Q(last_at__gte=since) | runs)
    return rows.order_by("first_at", "pk")


def systems_of_device(device: Device) -> QuerySet[MeasuringSystem]:
    """Return the systems that hold a device, or whose checks lean on it."""
    thermometer = ArtefactCheck.objects.filter(
        system=OuterRef("pk"), thermometer=device
    )
    return MeasuringSystem.objects.filter(
        Q(tracker=device)
        | Q(scanner=device)
        | Q(pk__in=_systems_checked_with(device))
        | Q(Exists(thermometer))
    )


def _systems_checked_with(device: Device) -> QuerySet[MeasuringSystem]:
    checked = MeasuringSystem.objects.filter(
        needs__procedure__revisions__artefact=device
    )
    return checked.values("pk")  # type: ignore[return-value]


def _warmed_by(device: Device) -> QuerySet[PartTemperature]:
    rows = PartTemperature.objects.filter(thermometer=device, session__isnull=False)
    return rows.values("session")  # type: ignore[return-value]


def _rooms_of(device: Device) -> QuerySet[SpotReading]:
    rows = SpotReading.objects.filter(sensor=device)
    return rows.order_by().values("room").distinct()  # type: ignore[return-value]


def _newest_records_since(device: Device) -> datetime | None:
    """Return from when on a device's newest records can change an answer."""
    found = []
    # Recorded last, and decided on last: an older recording may be accepted later.
    decided = device.calibrations.exclude(acceptance=None).order_by("-acceptance__pk")
    for newest in (device.calibrations.order_by("-pk").first(), decided.first()):
        if newest is not None:
            found.append(_counts_since(newest))
    finding = device.later_findings.order_by("-pk").first()
    if finding is not None:
        found.append(finding.since)
    if not found:
        return None
    # A check up to so long before a session may be what opened it.
    return min(found) - OPENED_WITHIN


#: No validity of a check is longer: what a pass opened ended within so many days.
OPENED_WITHIN = timedelta(days=31)


def _counts_since(newest: Calibration) -> datetime:
    first = newest.counts_from
    if newest.supersedes is not None:
        first = min(first, newest.supersedes.counts_from)
    return datetime.combine(first, time.min, tzinfo=home_zone())


def sessions_of_person(person_id: int) -> QuerySet[MeasuringSession]:
    """Return the sessions in which a person measures now, or may go on."""
    said = SessionEvent.objects.filter(said_by=person_id, kind__in=STARTING)
    rows = MeasuringSession.objects.exclude(state=MeasuringSession.State.ENDED)
    return rows.filter(pk__in=said.values("session")).order_by("pk")


def sessions_around_reading(reading: SpotReading) -> QuerySet[MeasuringSession]:
    """Return the sessions whose room a reading, or the one it corrects, tells of."""
    instants = [reading.at]
    if reading.supersedes is not None:
        instants.append(reading.supersedes.at)
    runs = Q(state=MeasuringSession.State.RUNNING)
    rows = MeasuringSession.objects.filter(
        Q(last_at__gte=min(instants) - ROOM_MARGIN) | runs,
        room=reading.room_id,
        first_at__lte=max(instants) + ROOM_MARGIN,
    )
    return rows.order_by("pk")
