"""The one Celery task, and the work of the ground floor."""

from __future__ import annotations

from datetime import timedelta

from lab.celery import app
from lab.common import audit
from lab.common.files.sweep import sweep_orphans
from lab.common.work.dispatcher import window
from lab.common.work.housekeeping import purge_done_work
from lab.common.work.kinds import Kind
from lab.common.work.queue import RUN_WORK
from lab.common.work.running import run_item_and_close


def unsealed() -> bool:
    return audit.unsealed_entries().exists()


KINDS = {
    "common.seal_audit": Kind(
        audit.seal_all, limit_s=60, tries=3, every=timedelta(seconds=5), due=unsealed
    ),
    "common.sweep_files": Kind(
        sweep_orphans, limit_s=3600, tries=3, every=timedelta(days=1)
    ),
    "common.purge_work": Kind(
        purge_done_work, limit_s=600, tries=3, every=timedelta(days=1)
    ),
}


@app.task(name=RUN_WORK)  # type: ignore[untyped-decorator]  # no types in celery
def run_work(pk: int) -> None:
    """Run one row of work, in a worker's thread."""
    try:
        run_item_and_close(pk)
    finally:
        window.begun(pk)
