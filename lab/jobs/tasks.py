"""Work of this app that is done outside of any request."""

from __future__ import annotations

from datetime import timedelta
from typing import Final

from lab.common.actors import PROGRAM
from lab.common.work.kinds import Kind
from lab.jobs.services.due import hold_cut_jobs

KINDS: Final = {
    "jobs.hold_for_due_dates": Kind(
        lambda: hold_cut_jobs(acting_user=PROGRAM),
        limit_s=300,
        every=timedelta(hours=1),
    ),
    "jobs.device_calibrated": Kind(
        lambda _device_id: hold_cut_jobs(acting_user=PROGRAM), limit_s=300
    ),
}
