"""Which jobs a due date cuts: planned or running work that goes on after it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Final

from lab.checks.models import MeasuringSystem
from lab.checks.selectors import newest_procedures
from lab.common import clock
from lab.equipment.models import Calibration, Device
from lab.equipment.selectors import calibration_spans, device_key
from lab.jobs.models import Job, JobState, MeasuringSession
from lab.laboratory.selectors import home_zone
from lab.metrology import bracketing

#: States of a job in which measuring is planned or runs.
TO_BE_MEASURED: Final = (JobState.BOOKED, JobState.RECEIVED, JobState.MEASURING)
OPEN_SESSIONS: Final = (
    MeasuringSession.State.RUNNING,
    MeasuringSession.State.PAUSED,
)
INSTANT: Final = timedelta(microseconds=1)


@dataclass(frozen=True, slots=True)
class Cut:
    """A due date that lies before the end of a job's work."""

    job: Job
    system: MeasuringSystem
    device: Device
    due_on: date
    needed_until: date

    @property
    def cause_key(self) -> str:
        return f"due:device:{self.device.pk}:{self.due_on:%Y-%m-%d}"

    @property
    def reason(self) -> str:
        return (
            f"{self.device.tag} of {self.system.name} is calibrated until "
            f"{self.due_on:%Y-%m-%d}; the work goes on until "
            f"{self.needed_until:%Y-%m-%d}. Have it calibrated, use another system, or "
            "agree another day; then clear this hold and say which."
        )


class Chains:
    """The devices that systems lean on, and whether each is current on a day."""

    def __init__(self) -> None:
        rows = MeasuringSystem.objects.filter(in_use=True)
        self.systems = list(rows.select_related("tracker", "scanner"))
        self._devices = {one.pk: _chain(one) for one in self.systems}
        everything = {d.pk: d for chain in self._devices.values() for d in chain}
        self._spans: dict[str, list[bracketing.Calibration]] = {}
        for span in calibration_spans(everything.values()):
            self._spans.setdefault(span.item, []).append(span)
        self._last_days = _last_days(everything.values())

    def cuts(
        self, job: Job, systems: Iterable[MeasuringSystem], until: date
    ) -> list[Cut]:
        """Return the due dates that cut a job, unless one of the systems has none.

        A device that never was calibrated has no due date: readiness refuses it.
        """
        found: list[Cut] = []
        for system in systems:
            chain = self._devices.get(system.pk) or _chain(system)
            over = [one for one in chain if self._ends_before(one, until)]
            if not over:
                return []
            found += [
                Cut(job, system, one, self._last_days[one.pk], until) for one in over
            ]
        return found

    def _ends_before(self, device: Device, until: date) -> bool:
        if device.pk not in self._last_days:
            return False
        # A due date includes its whole day, so that its last instant decides.
        instant = clock.end_of_day(until, home_zone()) - INSTANT
        spans = self._spans.get(device_key(device.pk), [])
        return not any(
            one.start <= instant and (one.end is None or instant < one.end)
            for one in spans
        )


def cut_jobs() -> list[Cut]:
    """Return every due date that cuts a job's planned or running work."""
    rows = Job.objects.filter(state__in=TO_BE_MEASURED).select_related("room")
    jobs = list(rows.prefetch_related("sessions__system__tracker"))
    if not jobs:
        return []  # perhaps there is no laboratory yet, and so no day of its own
    chains, today = Chains(), clock.today(home_zone())
    found: list[Cut] = []
    for job in jobs:
        sessions = list(job.sessions.all())
        is_open = any(one.state in OPEN_SESSIONS for one in sessions)
        if job.wanted_on is None and not is_open:
            continue
        until = max(job.wanted_on or today, today)
        found += chains.cuts(job, _systems_for(job, sessions, chains), until)
    return found


def _systems_for(
    job: Job, sessions: Sequence[MeasuringSession], chains: Chains
) -> list[MeasuringSystem]:
    """Return the systems that a job may be measured with: its own, or its room's."""
    if sessions:
        return [max(sessions, key=lambda one: one.first_at).system]
    here = [one for one in chains.systems if one.tracker.room_id == job.room_id]
    return here or chains.systems


def _chain(system: MeasuringSystem) -> list[Device]:
    artefacts = [one.artefact for one in newest_procedures(system)]
    chain = {one.pk: one for one in (system.tracker, system.scanner, *artefacts)}
    return list(chain.values())


def _last_days(devices: Iterable[Device]) -> dict[int, date]:
    """Return the last day of each device's newest good calibration."""
    rows = Calibration.objects.filter(device__in=list(devices), superseded_by=None)
    found: dict[int, date] = {}
    for row in rows.select_related("acceptance").order_by("counts_from", "pk"):
        if row.is_good:
            found[row.device_id] = row.due_on
    return found
