"""One job of the invented lab, from booking to its certificate and return."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, timedelta
from decimal import Decimal

from lab.accounts.models import User
from lab.certificates.models import Certificate, Draft
from lab.certificates.services import (
    approve_draft,
    issue_certificate,
    record_sending,
    start_draft,
    submit_draft,
)
from lab.common import clock
from lab.demo.customers import Account
from lab.demo.daily import CheckRound, read_rooms, temperature_of
from lab.demo.world import World
from lab.inspections.entries import ResultEntry
from lab.inspections.models import Result
from lab.inspections.services import finish_evaluation, record_results
from lab.jobs.models import Job, JobItem, MeasuringSession
from lab.jobs.selectors import claimed_u
from lab.jobs.services import (
    BodyEntry,
    book_job,
    cancel_job,
    end_session,
    pause_session,
    receive_item,
    record_agreement,
    record_part_temperature,
    resume_session,
    return_item,
    start_session,
)
from lab.laboratory.models import DecisionRuleRevision
from lab.lapses.assessing import open_findings
from lab.lapses.models import ConditionsAssessment
from lab.lapses.services import assess_conditions
from lab.metrology.units import Quantity
from lab.parts.models import Characteristic, PartRevision

SOFTWARE = "In-house evaluation 3.1"
#: The handbook's kinds behind the materials of the drawings.
STUFF = {
    "steel": "steel",
    "iron": "cast iron",
    "bronze": "brass",
    "alumin": "aluminium",
}


@dataclass(slots=True)
class JobLife:
    """A job's steps; each is an event that is planned for its own time."""

    world: World
    account: Account
    revision: PartRevision
    serials: tuple[str, ...]
    system: int
    rule: DecisionRuleRevision | None
    order: str
    wanted_on: date
    made: list[Job] = field(default_factory=list)
    session: MeasuringSession | None = None
    draft: Draft | None = None
    certificate: Certificate | None = None

    @property
    def job(self) -> Job:
        return Job.objects.get(pk=self.made[0].pk)

    @property
    def items(self) -> list[JobItem]:
        return list(self.job.items.order_by("position"))

    @property
    def technician(self) -> User:
        return self.world.staff.technicians[self.system]

    # --- The steps --------------------------------------------------------------------

    def book(self) -> None:
        rooms = (self.world.house.long_room, self.world.house.net_loft)
        self.made.append(
            book_job(
                customer=self.account.customer,
                contact=self.account.contact,
                order_number=self.order,
                part_revision=self.revision,
                room=rooms[self.system],
                serials=self.serials,
                wanted_on=self.wanted_on,
                acting_user=self.world.staff.coordinator,
            )
        )
        proven = self.rule is not None and self.rule.needs_burden
        record_agreement(
            job=self.job,
            asked="Measure every characteristic of the drawing"
            + (" and state conformity." if self.rule else "; no statement."),
            part_revision=self.revision,
            method=self.world.house.method,
            rule=self.rule,
            burden="conformity" if proven else "",
            agreed_with=self.account.contact,
            agreed_on=clock.now().date(),
            acting_user=self.world.staff.coordinator,
        )

    def cancel(self) -> None:
        cancel_job(
            job=self.job,
            reason="The customer keeps the part in service.",
            acting_user=self.world.staff.coordinator,
        )

    def receive(self) -> None:
        warmth = temperature_of(self.world, self.system, clock.now().date(), 9)
        for item in self.items:
            receive_item(
                item=item,
                at=clock.now(),
                condition="Clean, no damage seen.",
                place="Soaking bench" if self.system else "Floor plate",
                temperature=Quantity(f"{warmth - 1.6:.1f}", "°C"),
                body=self._body(),
                acting_user=self.world.staff.coordinator,
            )

    def _body(self) -> BodyEntry | None:
        """Return what the soak is predicted from: the drawing's mass, typical walls."""
        mass, said = self.revision.mass, self.revision.material.casefold()
        stuff = next((one for word, one in STUFF.items() if word in said), None)
        if mass is None or stuff is None:
            return None
        return BodyEntry(mass, stuff, wall=Quantity("18", "mm"))

    def start(self) -> None:
        day = clock.now().date()
        self.session = start_session(
            job=self.job,
            system=self.world.register.systems[self.system],
            items=self.items,
            at=clock.now(),
            acting_user=self.technician,
        )
        warmth = temperature_of(self.world, self.system, day, clock.now().hour)
        for item in self.items:
            record_part_temperature(
                item=item,
                session=self.session,
                at=clock.now(),
                temperature=Quantity(f"{warmth:.1f}", "°C"),
                thermometer=self.world.register.thermometers[self.system],
                acting_user=self.technician,
            )

    def pause(self) -> None:
        pause_session(
            session=self._session(),
            at=clock.now(),
            reason="Too few targets in view; more stuck on.",
            acting_user=self.technician,
        )

    def resume(self) -> None:
        resume_session(
            session=self._session(), at=clock.now(), acting_user=self.technician
        )

    def end(self) -> None:
        end_session(
            session=self._session(), at=clock.now(), acting_user=self.technician
        )

    def _assess_the_air(self) -> None:
        """Assess what the loggers found outside the limits, as the lab has to."""
        for session in self.job.sessions.order_by("pk"):
            if open_findings(session):
                assess_conditions(
                    session=session,
                    outcome=ConditionsAssessment.Outcome.STAND,
                    reason="The bound lies within what the budget has for temperature.",
                    acting_user=self.world.staff.quality,
                )

    def evaluate(self) -> None:
        self._assess_the_air()
        record_results(
            job=self.job,
            session=self._session(),
            entries=self.entries(),
            evaluated_by=self.technician,
            acting_user=self.technician,
        )
        finish_evaluation(job=self.job, acting_user=self.technician)

    def submit(self) -> None:
        self.draft = start_draft(
            job=self.job,
            items=self.items,
            title=self.world.house_title,
            deviations="None.",
            acting_user=self.technician,
        )
        submit_draft(draft=self.draft, acting_user=self.technician)

    def issue(self) -> None:
        signatory = self.world.staff.signatory
        draft = Draft.objects.get(pk=self.draft.pk if self.draft else 0)
        approve_draft(draft=draft, acting_user=signatory)
        draft.refresh_from_db()
        self.certificate = issue_certificate(draft=draft, acting_user=signatory)

    def send(self) -> None:
        if self.certificate is not None:
            record_sending(
                certificate=self.certificate,
                sent_to=self.account.contact.email,
                how="E-mail",
                at=clock.now(),
                acting_user=self.world.staff.coordinator,
            )

    def hand_back(self) -> None:
        for item in self.items:
            return_item(
                item=item,
                at=clock.now(),
                condition="Targets removed, cleaned, no damage.",
                handed_to=f"Carrier for {self.account.customer.name}",
                acting_user=self.world.staff.coordinator,
            )

    # --- What was measured ------------------------------------------------------------

    def entries(self, shift: float = 0.0) -> list[ResultEntry]:
        characteristics = list(self.revision.characteristics.all())
        return [
            self._entry(item, one, shift)
            for item in self.items
            for one in characteristics
        ]

    def _entry(self, item: JobItem, one: Characteristic, shift: float) -> ResultEntry:
        dice = self.world.dice
        claimed = claimed_u(self.world.house.method, one) or Decimal("0.03")
        u = float(claimed) * dice.uniform(1.05, 1.5)
        upper = one.upper_deviation
        width = float(upper.value) if upper else 0.1
        if one.non_negative:
            value = abs(dice.gauss(0.45, 0.14)) * width
        else:
            value = float(one.nominal.value) + dice.gauss(shift, 0.28) * width
        points = 4000 + dice.randrange(3000) if one.non_negative else None
        return ResultEntry(
            item=item,
            characteristic=one,
            unit="mm",
            value_text=f"{value:.4f}",
            expanded_u_text=f"{u:.4f}",
            coverage_factor_text="2",
            uncertainty_basis="Components: noise, scale, temperatures, fit (MP-01)",
            temperature_state=Result.TemperatureState.AT_REFERENCE,
            number_of_points=points,
            filter_text="none" if points else "",
            association="minimum zone" if points else "least squares",
            software=SOFTWARE,
        )

    def _session(self) -> MeasuringSession:
        return MeasuringSession.objects.get(pk=self.session.pk if self.session else 0)


STEPS = (
    "received",
    "measuring",
    "paused",
    "measured",
    "evaluated",
    "in review",
    "issued",
    "returned",
)


def plan_job(
    life: JobLife, booked: date, *, until: str = "returned", hour: int = 9
) -> None:
    """Plan a job's steps over the working days after its booking, up to a state."""
    world = life.world
    reached = -1 if until == "booked" else STEPS.index(until)
    world.plan(booked, 10, world.dice.randrange(50), life.book)
    if reached < 0:
        return
    arrives, measured = world.workday(booked, 3), world.workday(booked, 4)
    world.plan(arrives, 9, 40, life.receive)
    if reached < 1:
        return
    world.plan(measured, 8, 0, lambda: read_rooms(world, measured, 8))
    world.plan(measured, 8, 30, CheckRound(world, life.system, measured))
    world.plan(measured, hour, 0, life.start)
    if reached < 2:
        return
    world.plan(measured, hour, 50, life.pause)
    if reached < 3:
        return
    world.plan(measured, hour + 1, 10, life.resume)
    world.plan(measured, hour + 1, 30, lambda: read_rooms(world, measured, hour + 1))
    world.plan(measured, hour + 2, 0, life.end)
    world.plan(measured, 17, 0, CheckRound(world, life.system, measured))
    _plan_papers(life, measured, reached)


def _plan_papers(life: JobLife, measured: date, reached: int) -> None:
    world = life.world
    steps = (
        (4, 1, 10, life.evaluate),
        (5, 1, 14, life.submit),
        (6, 2, 11, life.issue),
        (6, 2, 12, life.send),
        (7, 3, 15, life.hand_back),
    )
    for needed, days, hour, step in steps:
        if reached >= needed:
            minute = world.dice.randrange(50)
            world.plan(world.workday(measured, days), hour, minute, step)


def soon_after(day: date) -> date:
    """Return by when a customer usually wants a job."""
    return day + timedelta(days=14)
