"""Cases on the page of a job, and what of them waits on the board."""

from __future__ import annotations

from lab.accounts.models import User
from lab.common.panels import Panel
from lab.evidence.guards import may_decide
from lab.evidence.models import Case
from lab.evidence.reach import cases_of
from lab.jobs.models import Job


def cases(user: User, job: Job) -> Panel | None:
    """Return the cases that touch a job."""
    if not user.may("cases.see"):
        return None
    rows = list(cases_of(job))
    if not rows:
        return None
    return Panel("Cases", "evidence/panels/cases.html", {"cases": rows})


def waiting_cases(user: User) -> list[Case]:
    """Return the open cases, for whoever decides about them."""
    return list(Case.objects.filter(state=Case.State.OPEN)) if may_decide(user) else []
