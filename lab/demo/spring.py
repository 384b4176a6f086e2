"""What went wrong in spring: a check on the wrong bar, four sessions, one amendment.

On a Tuesday in April four jobs were measured with the Long Room system between the
morning's check and the evening's. On Wednesday morning the check failed and the
tracker was adjusted; the evening's pass seemed to close Tuesday, and one certificate
went out. On Friday the technician saw that the evening's check had been done on the
wrong bar. It was voided, and all of Tuesday stood in question.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, timedelta

from lab.certificates.models import Draft
from lab.certificates.services import (
    approve_draft,
    issue_certificate,
    start_draft,
    submit_draft,
)
from lab.checks.models import Break, CheckVoid
from lab.checks.services import record_break, void_check
from lab.common import clock
from lab.demo.daily import CheckRound, read_rooms
from lab.demo.jobs import JobLife, soon_after
from lab.demo.world import Event, World
from lab.demo.year import ordinary_job
from lab.inspections.selectors import results_in_force
from lab.inspections.services import correct_result
from lab.jobs.models import JobState
from lab.jobs.selectors import open_holds
from lab.jobs.services import clear_holds, move_job

LONG_ROOM = 0


@dataclass(slots=True)
class Spring:
    """The week of the failure, as a list of events around four jobs."""

    world: World
    tuesday: date
    lives: list[JobLife] = field(default_factory=list)
    evening: CheckRound | None = None

    def plan(self) -> None:
        world, tuesday = self.world, self.tuesday
        booked, arrives = world.workday(tuesday, -4), world.workday(tuesday, -1)
        for number in range(4):
            life = ordinary_job(world, 100 + 2 * number, booked)
            life.system, life.rule = LONG_ROOM, world.house.guarded
            life.wanted_on = soon_after(tuesday)
            self.lives.append(life)
            world.plan(booked, 14, 10 * number, life.book)
            world.plan(arrives, 11, 10 * number, life.receive)
            world.plan(tuesday, 9 + 2 * number, 0, life.start)
            world.plan(tuesday, 9 + 2 * number, 45, self.read(tuesday, 9 + 2 * number))
            world.plan(tuesday, 10 + 2 * number, 30, life.end)
        world.plan(tuesday, 8, 0, lambda: read_rooms(world, tuesday, 8))
        world.plan(tuesday, 8, 30, CheckRound(world, LONG_ROOM, tuesday))
        self.evening = CheckRound(world, LONG_ROOM, tuesday)
        world.plan(tuesday, 17, 30, self.evening)
        self._plan_the_days_after()

    def _plan_the_days_after(self) -> None:
        world, lives = self.world, self.lives
        wednesday, thursday, friday = (
            world.workday(self.tuesday, n) for n in (1, 2, 3)
        )
        monday = world.workday(friday, 1)
        failed = CheckRound(world, LONG_ROOM, wednesday, extra_um=88.0)
        world.plan(wednesday, 8, 30, failed)
        world.plan(wednesday, 9, 30, self.adjust)
        world.plan(wednesday, 10, 30, CheckRound(world, LONG_ROOM, wednesday))
        world.plan(wednesday, 14, 0, lives[0].evaluate)
        world.plan(wednesday, 15, 0, lives[0].submit)
        world.plan(thursday, 11, 0, lives[0].issue)
        world.plan(thursday, 12, 0, lives[0].send)
        world.plan(friday, 10, 0, self.void_the_evening)
        world.plan(monday, 8, 0, lambda: read_rooms(world, monday, 8))
        world.plan(monday, 8, 30, CheckRound(world, LONG_ROOM, monday))
        world.plan(monday, 9, 0, self.go_on)
        for number, life in enumerate(lives):
            world.plan(monday, 9 + 2 * number, 30, life.start)
            world.plan(monday, 10 + 2 * number, 15, self.read(monday, 10 + 2 * number))
            world.plan(monday, 11 + 2 * number, 0, life.end)
        world.plan(monday, 17, 30, CheckRound(world, LONG_ROOM, monday))
        self._plan_the_papers(world.workday(monday, 1))

    def _plan_the_papers(self, day: date) -> None:
        world = self.world
        world.plan(day, 9, 0, self.correct_the_first)
        world.plan(day, 15, 0, self.amend)
        for number, life in enumerate(self.lives[1:]):
            world.plan(day, 10, 15 * number, life.evaluate)
            world.plan(day, 14, 15 * number, life.submit)
            world.plan(world.workday(day, 1), 11, 15 * number, life.issue)
        for life in self.lives:
            world.plan(world.workday(day, 2), 15, 0, life.hand_back)

    def read(self, day: date, hour: int) -> Event:
        return lambda: read_rooms(self.world, day, hour)

    def adjust(self) -> None:
        record_break(
            system=self.world.register.systems[LONG_ROOM],
            kind=Break.Kind.ADJUSTMENT,
            at=clock.now() - timedelta(minutes=20),
            note="Check failed; tracker adjusted after the maker's instructions.",
            acting_user=self.world.staff.technicians[0],
        )

    def void_the_evening(self) -> None:
        check = self.evening.made if self.evening else None
        if check is None:
            raise RuntimeError("The evening's check was not recorded.")
        void_check(
            check=check,
            cause=CheckVoid.Cause.WRONG_ARTEFACT,
            reason="The steel bar was measured in place of the carbon-fibre bar.",
            acting_user=self.world.staff.quality,
        )

    def go_on(self) -> None:
        """Let all four be measured anew, with the reason on each hold."""
        for life in self.lives:
            clear_holds(
                holds=list(open_holds(life.job)),
                reason="Measured anew after the adjustment; Tuesday's values are "
                "not used.",
                acting_user=self.world.staff.quality,
            )

    def correct_the_first(self) -> None:
        life = self.lives[0]
        fresh = {
            (entry.item.pk, entry.characteristic.pk): entry for entry in life.entries()
        }
        for result in results_in_force(life.job):
            correct_result(
                result=result,
                entry=fresh[result.item_id, result.characteristic_id],
                session=life.session,
                reason="Measured anew: the first session was in question.",
                acting_user=life.technician,
            )
        move_job(job=life.job, to=JobState.EVALUATED, acting_user=life.technician)

    def amend(self) -> None:
        life, signatory = self.lives[0], self.world.staff.signatory
        draft = start_draft(
            job=life.job,
            items=life.items,
            title=self.world.house_title,
            deviations="None.",
            amends=life.certificate,
            change="All results measured anew, because the check that closed the first "
            "session was done on the wrong bar.",
            acting_user=life.technician,
        )
        submit_draft(draft=draft, acting_user=life.technician)
        draft = Draft.objects.get(pk=draft.pk)
        approve_draft(draft=draft, acting_user=signatory)
        issue_certificate(draft=Draft.objects.get(pk=draft.pk), acting_user=signatory)


def tuesday_in_april(first_day: date, last_day: date) -> date:
    """Return the second Tuesday of the April that lies in the demo's year."""
    day = date(
        last_day.year if last_day >= date(last_day.year, 5, 1) else last_day.year - 1,
        4,
        8,
    )
    while day.weekday() != 1:
        day += timedelta(days=1)
    return day if first_day < day < last_day else first_day + timedelta(days=140)
