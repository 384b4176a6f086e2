"""What the lapse rules say of a job's sessions, on its page."""

from __future__ import annotations

from lab.accounts.models import User
from lab.common.panels import Panel
from lab.jobs.models import Job
from lab.lapses.models import Judgement
from lab.lapses.selectors import findings_of
from lab.metrology.bracketing import State


def findings(user: User, job: Job) -> Panel | None:
    """Return how each session stands, and every finding with its hold."""
    rows = Judgement.objects.filter(session__job=job)
    judgements = list(rows.select_related("session__system").order_by("session"))
    if not judgements:
        return None
    context = {
        "judgements": judgements,
        "findings": findings_of(job),
        "State": State,
        "may_clear": user.may("holds.clear"),
    }
    return Panel("Checks around the sessions", "lapses/panels/findings.html", context)
