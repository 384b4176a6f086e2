"""Which results are typed on one page, and with what a form begins."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

from lab.accounts.models import User
from lab.inspections.models import Result
from lab.inspections.selectors import missing_results
from lab.jobs.models import Job, JobItem
from lab.parts.models import Characteristic

#: A page with more rows than this shows one item at a time.
MOST_ROWS: Final = 240


@dataclass(frozen=True, slots=True)
class Grid:
    """The missing results of one page, and the items that have any."""

    wanted: list[tuple[JobItem, Characteristic]]
    items: list[JobItem]
    chosen: JobItem | None

    @property
    def is_split(self) -> bool:
        return self.chosen is not None


def grid_for(job: Job, item: str) -> Grid:
    """Return the rows of a page: all that are missing, or those of one item."""
    missing = missing_results(job)
    items = list({one.pk: one for one, _ in missing}.values())
    chosen = next((one for one in items if str(one.pk) == item), None)
    if chosen is None and len(missing) > MOST_ROWS:
        chosen = items[0]
    if chosen is None:
        return Grid(missing, items, None)
    return Grid([pair for pair in missing if pair[0] == chosen], items, chosen)


def start_values(job: Job, user: User) -> dict[str, Any]:
    """Begin with what was said last for the job."""
    newest = job.sessions.order_by("-first_at", "-pk").first()
    start: dict[str, Any] = {"evaluated_by": user, "session": newest}
    last = Result.objects.filter(job=job).order_by("-pk").first()
    if last is not None:
        kept = ("temperature_state", "uncertainty_basis", "software")
        start |= {name: getattr(last, name) for name in kept}
    return start
