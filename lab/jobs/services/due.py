"""Holds on jobs that a due date cuts."""

from __future__ import annotations

from lab.common import audit
from lab.common.actors import Actor
from lab.common.services import service
from lab.jobs.due import cut_jobs
from lab.jobs.services.holds import raise_hold


@service
def hold_cut_jobs(*, acting_user: Actor) -> int:
    """Hold each job whose planned or running work a due date cuts, once a date.

    A hold is not lifted by a new calibration: a person clears it and says why. Returns
    how many due dates cut work now.
    """
    audit.nothing_changed()  # unless a hold is raised below, which leaves an entry
    found = cut_jobs()
    for one in found:
        raise_hold(
            job=one.job,
            cause_key=one.cause_key,
            title="Calibration ends before the work",
            reason=one.reason,
            acting_user=acting_user,
        )
    return len(found)
