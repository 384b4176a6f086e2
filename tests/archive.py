"""An archive of years: sessions, checks and jobs written straight into the tables.

Two systems measure in turns of three hours: a check, then two sessions. Of a hundred
checks one fails. The rows are what the services would have written, without their
audit entries; findings and holds are left to whoever judges.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from itertools import islice
from typing import Any

from django.db import transaction
from django.db.models import Model

from lab.checks.models import ArtefactCheck, CheckReading, Need
from lab.equipment.models import Calibration, CalibrationAcceptance, Device
from lab.jobs.models import Agreement, Job, MeasuringSession, SessionEvent
from lab.laboratory.models import Activity, Authorisation
from lab.lapses.models import Bookmark, Judgement
from tests.chain import Lab, at

#: Before everything in an archive.
BEGUN = datetime(2000, 1, 1, tzinfo=UTC)
TURN = timedelta(hours=3)
CHECK, GAP, MEASURED = (
    timedelta(minutes=10),
    timedelta(minutes=5),
    timedelta(minutes=75),
)
SESSIONS_A_JOB = 4
BATCH = 5_000


@dataclass(frozen=True)
class Archive:
    """A lab with years behind it, and what its rows are copied from."""

    lab: Lab
    job: Job
    check: ArtefactCheck

    def prepare(self) -> None:
        """Let needs, calibrations and authorisations reach back far enough."""
        Need.objects.update(since=BEGUN)
        for device in Device.objects.all():
            made = Calibration.objects.create(
                device=device,
                calibrated_on=date(2000, 1, 1),
                counts_from=date(2000, 1, 1),
                due_on=date(2026, 1, 15),
                certificate_number=f"HC-{device.tag}-0001",
                provider="Hollin Calibration",
                requirement_met=True,
                recorded_by=self.lab.people.technician,
                recorded_at=BEGUN,
            )
            CalibrationAcceptance.objects.create(
                calibration=made,
                accepted=True,
                findings="",
                words="As required.",
                decided_by=self.lab.people.quality,
            )
        Authorisation.objects.create(
            person=self.lab.people.technician,
            method=self.lab.method.method,
            activity=Activity.MEASURE,
            valid_from=date(2000, 1, 1),
            evidence="Witnessed on the bar.",
            granted_by=self.lab.people.quality,
            recorded_at=BEGUN,
        )

    @transaction.atomic
    def write(self, first: int, last: int) -> None:
        """Write the turns from one number to another, counted back from the newest."""
        self._jobs(first, last)
        keep(ArtefactCheck, self._checks(first, last))
        made = ArtefactCheck.objects.filter(form_key__startswith="archive-")
        readings = list(self.check.readings.all())
        without = made.filter(readings=None).values_list("pk", flat=True)
        keep(
            CheckReading,
            (
                copied(reading, artefact_check_id=pk)
                for pk in without.iterator()
                for reading in readings
            ),
        )
        keep(MeasuringSession, self._sessions(first, last))
        new = MeasuringSession.objects.filter(events=None).order_by()
        rows = list(new.values_list("pk", "first_at", "last_at"))
        keep(SessionEvent, self._events(rows))
        keep(
            Judgement,
            (
                Judgement(
                    session_id=pk,
                    state="bracketed",
                    word="bracketed",
                    judged_at=last_at,
                )
                for pk, _, last_at in rows
            ),
        )

        self._bookmark()

    def _bookmark(self) -> None:
        """Say that all checks so far are judged: nobody has to look at them anew."""
        newest = ArtefactCheck.objects.order_by("-pk").values_list("pk", flat=True)
        for system in (self.lab.system, self.lab.other_system):
            Bookmark.objects.update_or_create(
                system=system, defaults={"last_check": newest.first() or 0}
            )

    def _jobs(self, first: int, last: int) -> None:
        numbers = range(first * 4 // SESSIONS_A_JOB, last * 4 // SESSIONS_A_JOB)
        keep(Job, (copied(self.job, number=f"A-{n:06d}") for n in numbers))
        agreed = self.job.agreements.get()
        new = Job.objects.filter(number__startswith="A-", agreements=None)
        keys = list(new.values_list("pk", flat=True))
        keep(Agreement, (copied(agreed, job_id=pk, recorded_at=BEGUN) for pk in keys))

    def _turns(self, first: int, last: int) -> Iterator[tuple[int, Any, datetime]]:
        systems = (self.lab.system, self.lab.other_system)
        for turn in range(first, last):
            for system in systems:
                yield turn, system, at(6) - TURN * (turn + 1)

    def _checks(self, first: int, last: int) -> Iterator[ArtefactCheck]:
        for turn, system, start in self._turns(first, last):
            yield copied(
                self.check,
                system=system,
                started_at=start,
                ended_at=start + CHECK,
                recorded_at=start + CHECK,
                verdict="fail" if turn % 100 == 50 else "pass",
                form_key=f"archive-{system.pk}-{turn}",
            )

    def _sessions(self, first: int, last: int) -> Iterator[MeasuringSession]:
        jobs = Job.objects.filter(number__startswith="A-", sessions=None)
        keys = list(jobs.order_by("pk").values_list("pk", flat=True))
        number = 0
        for _, system, start in self._turns(first, last):
            for half in range(2):
                begun = start + CHECK + GAP + half * (MEASURED + GAP)
                yield MeasuringSession(
                    job_id=keys[number // SESSIONS_A_JOB],
                    system=system,
                    room=self.lab.room,
                    state=MeasuringSession.State.ENDED,
                    started_by=self.lab.people.technician,
                    first_at=begun,
                    last_at=begun + MEASURED,
                )
                number += 1

    def _events(self, rows: list[tuple[int, datetime, datetime]]) -> Iterator[Any]:
        for pk, first_at, last_at in rows:
            for kind, instant in (("start", first_at), ("end", last_at)):
                yield SessionEvent(
                    session_id=pk,
                    kind=kind,
                    at=instant,
                    said_by=self.lab.people.technician,
                    recorded_at=instant,
                )


def copied(row: Any, **changes: Any) -> Any:
    """Return an unsaved row like another."""
    kept = {
        field.attname: getattr(row, field.attname)
        for field in row._meta.concrete_fields
        if not field.primary_key
    }
    for name, value in changes.items():
        attname = row._meta.get_field(name.removesuffix("_id")).attname
        kept[attname] = value.pk if isinstance(value, Model) else value
    return type(row)(**kept)


def keep(model: Any, rows: Iterator[Any]) -> None:
    """Insert rows in batches, so that an archive need not fit in memory."""
    while batch := list(islice(rows, BATCH)):
        model.objects.bulk_create(batch, batch_size=BATCH)
