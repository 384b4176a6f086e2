"""What the lapse rules say of a job's sessions, on its page."""

from __future__ import annotations

from lab.accounts.models import User
from lab.common.panels import Panel
from lab.jobs.models import Job
from lab.lapses.models import Judgement
from lab.lapses.selectors import WITH_NEXT_CHECK, findings_of


def findings(user: User, job: Job) -> Panel | None:
    """Return how each session stands, and every finding with its hold."""
    rows = Judgement.objects.filter(session__job=job)
    judgements = list(rows.select_related("session__system").order_by("session"))
    if not judgements:
        return None
    found = list(findings_of(job))
    for one in found:
        one.shows_next = one.name in WITH_NEXT_CHECK  # type: ignore[attr-defined]
    context = {
        "judgements": judgements,
        "findings": found,
        "any_open": any(not hasattr(one.hold, "clearance") for one in found),
        "may_clear": user.may("holds.clear"),
    }
    return Panel("Checks around the sessions", "lapses/panels/findings.html", context)
