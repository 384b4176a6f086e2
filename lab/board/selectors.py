"""What the front page shows: what waits, how the systems stand, what falls due."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

from django.db.models import Count

from lab.accounts.models import User
from lab.certificates.models import Draft
from lab.checks.models import MeasuringSystem
from lab.checks.selectors import standings
from lab.common import clock
from lab.common.work.selectors import failed_items
from lab.environment.tiles import tiles_of
from lab.equipment.selectors import due_until
from lab.evidence.panels import waiting_cases
from lab.jobs.models import Hold, Job, JobState, MeasuringSession
from lab.jobs.selectors import forgotten_sessions, jobs_like
from lab.laboratory.models import Room
from lab.laboratory.selectors import home_zone

DUE_AHEAD = timedelta(days=30)
UNDER_WAY = (
    JobState.BOOKED,
    JobState.RECEIVED,
    JobState.MEASURING,
    JobState.EVALUATED,
    JobState.IN_REVIEW,
)
SHOWN = 15


def front_page_of(user: User) -> dict[str, Any]:
    """Return all that the front page of the lab's staff shows."""
    now = clock.now()
    under_way = Job.objects.filter(state__in=UNDER_WAY)
    running = MeasuringSession.objects.exclude(state=MeasuringSession.State.ENDED)
    systems = list(MeasuringSystem.objects.filter(in_use=True))
    by_system = standings(systems, now)
    return {
        "counts": _counts(),
        "jobs": jobs_like(under_way, "", "")[:SHOWN],
        "running": running.select_related("job", "system", "started_by"),
        "forgotten": {one.pk for one in forgotten_sessions()},
        "systems": [(system, by_system[system.pk]) for system in systems],
        "due": due_until(now.astimezone(home_zone()).date() + DUE_AHEAD),
        "holds": Hold.objects.filter(clearance=None)
        .select_related("job")
        .order_by("-pk")[:SHOWN],
        "drafts": _drafts_for(user),
        "cases": waiting_cases(user),
        "rooms": tiles_of(Room.objects.filter(in_use=True), now),
        "failed": failed_items()[:SHOWN] if user.may("work.see") else [],
    }


def _counts() -> list[tuple[str, str, int]]:
    rows = Job.objects.filter(state__in=UNDER_WAY).values("state")
    found = {row["state"]: row["n"] for row in rows.annotate(n=Count("pk"))}
    return [(state, state.label, found.get(state, 0)) for state in UNDER_WAY]


def _drafts_for(user: User) -> list[Draft]:
    """Return the drafts that wait for somebody like this person."""
    states = [Draft.State.IN_REVIEW] if user.may("certificates.review") else []
    states += [Draft.State.REVIEWED] if user.may("certificates.issue") else []
    rows = Draft.objects.filter(state__in=states).select_related("job", "prepared_by")
    return list(rows.order_by("pk")[:SHOWN])
