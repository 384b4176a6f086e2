"""What the jobs app shows of a job on its page."""

from __future__ import annotations

from dataclasses import dataclass

from django.db.models import Prefetch

from lab.accounts.models import User
from lab.checks.models import MeasuringSystem
from lab.common import clock
from lab.common.panels import Panel
from lab.jobs.models import Job, MeasuringSession, ScaleTestBar, SessionEvent
from lab.jobs.readiness import readiness
from lab.jobs.selectors import (
    IDLE,
    agreement_in_force,
    events_in_force,
    items_here,
    items_with_custody,
    part_temperatures,
)
from lab.jobs.soak import standing_of
from lab.jobs.soak_pictures import ShownSoak


def ready(user: User, job: Job) -> Panel | None:
    """May I measure now, and if not, what is missing?"""
    if job.is_over:
        return None
    system = system_for(job)
    gates = readiness(job, person=user, system=system, at=clock.now())
    missing = [gate for gate in gates if not gate.met]
    context = {"gates": gates, "missing": missing, "system": system, "job": job}
    return Panel("Readiness", "jobs/panels/ready.html", context)


def system_for(job: Job) -> MeasuringSystem | None:
    """Return the system that a job was measured with last, or one of its room."""
    last = job.sessions.select_related("system__tracker", "system__scanner").first()
    if last is not None:
        return last.system
    systems = MeasuringSystem.objects.filter(in_use=True).select_related(
        "tracker", "scanner"
    )
    return systems.filter(tracker__room=job.room).first() or systems.first()


def agreement(user: User, job: Job) -> Panel:
    context = {
        "job": job,
        "agreement": agreement_in_force(job),
        "may_agree": user.may("jobs.book") and not job.is_over,
    }
    return Panel("Agreed", "jobs/panels/agreement.html", context)


def items(user: User, job: Job) -> Panel:
    context = {
        "job": job,
        "items": items_with_custody(job),
        "temperatures": part_temperatures(job),
        "may_receive": user.may("jobs.receive") and not job.is_over,
        "may_return": user.may("jobs.return") and not job.is_over,
        "may_measure": user.may("jobs.measure") and not job.is_over,
    }
    return Panel("Items", "jobs/panels/items.html", context)


def soak(user: User, job: Job) -> Panel | None:
    """When will the items be at temperature, and are they?"""
    here = list(items_here(job).select_related("receipt", "job__part_revision"))
    if job.is_over or not here:
        return None
    now = clock.now()
    context = {
        "job": job,
        "shown": [ShownSoak.of(standing_of(item, now), now) for item in here],
        "may_receive": user.may("jobs.receive"),
        "may_measure": user.may("jobs.measure"),
    }
    return Panel("Temperature of the items", "jobs/panels/soak.html", context)


@dataclass(frozen=True, slots=True)
class ShownSession:
    """A session with its events as they stand, and whether it seems forgotten."""

    session: MeasuringSession
    events: list[SessionEvent]

    @property
    def seems_forgotten(self) -> bool:
        runs = self.session.state == MeasuringSession.State.RUNNING
        return runs and clock.now() - self.session.last_at > IDLE


def sessions(user: User, job: Job) -> Panel:
    rows = job.sessions.select_related("system", "room", "started_by")
    bars = ScaleTestBar.objects.select_related("calibrated_value__calibration__device")
    rows = rows.prefetch_related("items", Prefetch("scale_tests__bars", bars)).order_by(
        "first_at", "pk"
    )
    shown = [ShownSession(session, events_in_force(session)) for session in rows]
    context = {
        "job": job,
        "sessions": shown,
        "may_measure": user.may("jobs.measure") and not job.is_over,
    }
    return Panel("Sessions", "jobs/panels/sessions.html", context)


def holds(user: User, job: Job) -> Panel:
    rows = job.holds.select_related("raised_by", "clearance__cleared_by", "session")
    context = {
        "job": job,
        "holds": rows.order_by("-pk"),
        "may_raise": user.may("holds.raise") and not job.is_over,
        "may_clear": user.may("holds.clear"),
    }
    return Panel("Holds", "jobs/panels/holds.html", context)
