"""What was measured of a job and what it means, on the job's page."""

from __future__ import annotations

from collections import Counter

from lab.accounts.models import User
from lab.common.panels import Panel
from lab.inspections.selectors import missing_results, shown_results, undecided_results
from lab.jobs.models import Job, JobState
from lab.jobs.selectors import agreement_in_force

BEFORE = {JobState.BOOKED, JobState.RECEIVED, JobState.CANCELLED}


def results(user: User, job: Job) -> Panel | None:
    """Return the verdicts so far, what is missing, and the way to go on."""
    if not user.may("results.see") or job.state in BEFORE:
        return None
    shown = shown_results(job)
    missing = missing_results(job)
    agreement = agreement_in_force(job)
    undecided = undecided_results(job, agreement) if agreement else []
    measuring = job.state == JobState.MEASURING
    may = user.may("results.record")
    context = {
        "job": job,
        "results": shown,
        "counts": Counter((one.word, one.shape) for one in shown).most_common(),
        "missing": len(missing),
        "undecided": len(undecided),
        "may_record": may and measuring and bool(missing),
        "may_decide": may and bool(undecided),
        "may_finish": may and measuring and not missing and not undecided,
    }
    return Panel("Results", "inspections/panels/results.html", context)
