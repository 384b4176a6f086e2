"""What the records say of jobs: what was agreed, what holds them, what was measured."""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal

from django.db.models import Exists, OuterRef, Q, QuerySet

from lab.common import clock
from lab.equipment.models import Device
from lab.jobs.models import (
    Agreement,
    Hold,
    Job,
    JobItem,
    MeasuringSession,
    PartTemperature,
    SessionEvent,
)
from lab.laboratory.cmc import smallest_u
from lab.laboratory.models import MethodRevision
from lab.metrology import bracketing
from lab.parts.models import Characteristic

STARTING = (SessionEvent.Kind.START, SessionEvent.Kind.RESUME)


def agreement_in_force(job: Job) -> Agreement | None:
    """Return a job's newest contract review."""
    rows = job.agreements.select_related(
        "method__method", "rule__rule", "part_revision__part", "agreed_with"
    )
    return rows.order_by("-number").first()


def agreement_is_outdated(job: Job, agreement: Agreement) -> bool:
    """Tell whether the drawing was recorded anew since it was agreed to."""
    pinned = agreement.part_revision
    corrected = pinned.part.revisions.filter(supersedes=pinned).exists()
    return corrected or job.part_revision_id != pinned.pk


def open_holds(job: Job) -> QuerySet[Hold]:
    """Return the holds on a job that nobody has cleared, oldest first."""
    return job.holds.filter(clearance=None).order_by("pk")


def jobs_like(jobs: QuerySet[Job], said: str, state: str) -> QuerySet[Job]:
    """Return jobs whose number, order, part, serial or customer holds a text."""
    if state:
        jobs = jobs.filter(state=state)
    if said:
        named = JobItem.objects.filter(serial__icontains=said)
        jobs = jobs.filter(
            Q(number__icontains=said)
            | Q(order_number__icontains=said)
            | Q(customer__name__icontains=said)
            | Q(part_revision__part__number__icontains=said)
            | Q(pk__in=named.values("job"))
        )
    held = Hold.objects.filter(job=OuterRef("pk"), clearance=None)
    rows = jobs.select_related("customer", "part_revision__part")
    return rows.annotate(is_held=Exists(held)).order_by("-pk")


def items_here(job: Job) -> QuerySet[JobItem]:
    """Return the items that came in and have not left."""
    return job.items.filter(receipt__isnull=False, returning=None).order_by("position")


def open_session(job: Job) -> MeasuringSession | None:
    """Return the session of a job that has not ended, if there is one."""
    return job.sessions.exclude(state=MeasuringSession.State.ENDED).first()


def items_with_custody(job: Job) -> QuerySet[JobItem]:
    return job.items.select_related("receipt", "returning").order_by("position")


def events_in_force(session: MeasuringSession) -> list[SessionEvent]:
    """Return a session's events as last corrected, in the order in which they were."""
    rows = session.events.filter(superseded_by=None).select_related("said_by")
    return sorted(rows, key=lambda event: (event.at, event.pk))


#: A running session asks after so long without an event (lapse rules).
IDLE = timedelta(minutes=30)


def forgotten_sessions() -> QuerySet[MeasuringSession]:
    """Return the running sessions of which nothing was said for half an hour."""
    return MeasuringSession.objects.filter(
        state=MeasuringSession.State.RUNNING, last_at__lt=clock.now() - IDLE
    )


def segments(session: MeasuringSession) -> tuple[bracketing.Segment, ...]:
    """Return the stretches in which a session measured; the last may still run."""
    found: list[bracketing.Segment] = []
    start = None
    for event in events_in_force(session):
        if event.kind in STARTING:
            start = event.at
        elif start is not None:
            found.append(bracketing.Segment(start=start, end=event.at))
            start = None
    if start is not None:
        found.append(bracketing.Segment(start=start))
    return tuple(found)


def thermometers_of(session: MeasuringSession) -> QuerySet[Device]:
    """Return the contact thermometers that a session's part temperatures rest on."""
    used = PartTemperature.objects.filter(session=session, superseded_by=None)
    return Device.objects.filter(pk__in=used.values("thermometer"))


def part_temperatures(job: Job) -> QuerySet[PartTemperature]:
    rows = PartTemperature.objects.filter(item__job=job, superseded_by=None)
    return rows.select_related("item", "thermometer", "recorded_by").order_by(
        "at", "pk"
    )


def claimed_u(method: MethodRevision, one: Characteristic) -> Decimal | None:
    """Return the CMC that a method claims for a characteristic, if it is in scope."""
    size = one.nominal.value
    return smallest_u(method, one.kind, size, sized=not one.non_negative)
