"""Random days of a lab through its services, and what must hold after each event."""

from __future__ import annotations

import contextlib
from collections.abc import Callable
from datetime import datetime, timedelta
from random import Random
from typing import Any
from zoneinfo import ZoneInfo

from django.db import transaction
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, rule

from lab.checks.models import ArtefactCheck
from lab.checks.services import confirm_late_check, record_break, record_check
from lab.common import clock
from lab.common.errors import DomainError
from lab.common.work.queue import ready_items
from lab.common.work.running import run_item
from lab.equipment.models import Device
from lab.equipment.services import accept_calibration, record_calibration
from lab.jobs.models import Hold, Job, MeasuringSession, SessionEvent
from lab.jobs.services import (
    clear_hold,
    correct_event,
    end_session,
    pause_session,
    resume_session,
)
from lab.laboratory.models import Activity, Authorisation
from lab.laboratory.services import grant_authorisation, revoke_authorisation
from lab.lapses.archive import judge_archive
from lab.lapses.facts import (
    break_fact,
    check_fact,
    checks_of,
    facts_of,
)
from lab.lapses.keys import cause_key
from lab.lapses.models import Finding, Judgement, SuspicionTask, TaskDecision
from lab.lapses.services import decide_task, record_later_finding
from lab.lapses.tasks import judge_due
from lab.metrology import bracketing
from lab.metrology.units import Quantity
from tests.chain import BAR_VALUE, Lab, at, start, void

LONDON = ZoneInfo("Europe/London")
minutes = st.sampled_from([0, 1, 10, 30, 45, 90, 240])
#: Which of several things: reduced by how many there are.
which = st.integers(0, 30)


class RandomDays(RuleBasedStateMachine):
    """A lab whose people do anything, in any order, that the services let them.

    After every event the wanted work is done in a random order and the sweep runs;
    then what is stored is what all records say.
    """

    lab: Lab
    jobs: list[Job]

    def __init__(self) -> None:
        super().__init__()
        self.undo = transaction.atomic()
        self.undo.__enter__()
        self.now = at(8)
        self.ever: set[str] = set()
        self.cleared: set[int] = set()
        self.forms = 0
        self.free_jobs = [job.pk for job in self.jobs]

    def teardown(self) -> None:
        transaction.set_rollback(True)
        self.undo.__exit__(None, None, None)

    # --- What people do -----------------------------------------------------------

    def act(self, order: int, do: Callable[[], Any]) -> None:
        """Do something, unless it is refused; then work off what it wants."""
        with clock.set_to(self.now):
            with contextlib.suppress(DomainError):
                do()
            self.settle(Random(order))

    def settle(self, random: Random) -> None:
        while pks := list(ready_items().values_list("pk", flat=True)):
            random.shuffle(pks)
            for pk in pks:
                run_item(pk)
        judge_due()

    def choose(self, rows: Any, number: int) -> Any:
        found = list(rows)
        return found[number % len(found)] if found else None

    @rule(wait=st.sampled_from([5, 30, 120, 400, 900]), order=which)
    def time_passes(self, wait: int, order: int) -> None:
        self.now += timedelta(minutes=wait)
        self.act(order, lambda: None)

    @rule(
        system=st.booleans(),
        off=st.sampled_from([5.0, 5.0, 5.0, 90.0]),
        ago=minutes,
        long=st.sampled_from([1, 10, 60]),
        order=which,
    )
    def check(self, system: bool, off: float, ago: int, long: int, order: int) -> None:
        lab, ended = self.lab, self.now - timedelta(minutes=ago)
        self.forms += 1
        length = f"{float(BAR_VALUE.value.value) + off / 1000:.4f}"
        self.act(
            order,
            lambda: record_check(
                system=lab.system if system else lab.other_system,
                procedure=lab.procedure,
                started_at=ended - timedelta(minutes=long),
                ended_at=ended,
                artefact_temperature=Quantity("20.0", "°C"),
                thermometer=lab.thermometer,
                readings={
                    name: Quantity(length, "mm")
                    for name in lab.procedure.position_names
                },
                form_key=f"form-{self.forms}",
                acting_user=lab.people.technician,
            ),
        )
        self.now += timedelta(minutes=1)

    @rule(number=which, order=which)
    def void_a_check(self, number: int, order: int) -> None:
        made = self.choose(ArtefactCheck.objects.order_by("pk"), number)
        if made is not None:
            self.act(order, lambda: void(self.lab, made))

    @rule(number=which, order=which)
    def confirm(self, number: int, order: int) -> None:
        late = [one for one in ArtefactCheck.objects.all() if one.is_late]
        made = self.choose(late, number)
        if made is not None:
            self.act(
                order,
                lambda: confirm_late_check(
                    check=made,
                    reason="Seen in the notebook.",
                    acting_user=self.lab.people.quality,
                ),
            )

    @rule(system=st.booleans(), ago=minutes, order=which)
    def knock(self, system: bool, ago: int, order: int) -> None:
        lab = self.lab
        self.act(
            order,
            lambda: record_break(
                system=lab.system if system else lab.other_system,
                kind="knock",
                at=self.now - timedelta(minutes=ago),
                note="The tripod was knocked.",
                acting_user=lab.people.technician,
            ),
        )

    @rule(system=st.booleans(), ago=minutes, other=st.booleans(), order=which)
    def start(self, system: bool, ago: int, other: bool, order: int) -> None:
        lab = self.lab
        if not self.free_jobs:
            return
        job = Job.objects.get(pk=self.free_jobs.pop())
        self.act(
            order,
            lambda: start(
                lab,
                job,
                system=lab.system if system else lab.other_system,
                at=self.now - timedelta(minutes=ago),
                acting_user=lab.people.technician2 if other else lab.people.technician,
            ),
        )

    @rule(
        number=which,
        act=st.sampled_from([pause_session, resume_session, end_session]),
        ago=minutes,
        order=which,
    )
    def go_on(self, number: int, act: Any, ago: int, order: int) -> None:
        open_ones = MeasuringSession.objects.exclude(state="ended").order_by("pk")
        session = self.choose(open_ones, number)
        if session is None:
            return
        said: dict[str, Any] = {"reason": "Lunch."} if act is pause_session else {}
        self.act(
            order,
            lambda: act(
                session=session,
                at=max(session.last_at, self.now - timedelta(minutes=ago)),
                acting_user=self.lab.people.technician,
                **said,
            ),
        )

    @rule(number=which, shift=st.sampled_from([-200, -30, -5, 5, 30, 200]), order=which)
    def correct_a_time(self, number: int, shift: int, order: int) -> None:
        event = self.choose(
            SessionEvent.objects.filter(superseded_by=None).order_by("pk"), number
        )
        if event is not None:
            self.act(
                order,
                lambda: correct_event(
                    event=event,
                    at=event.at + timedelta(minutes=shift),
                    reason="The clock on the wall was read wrongly.",
                    acting_user=self.lab.people.quality,
                ),
            )

    @rule(
        number=which,
        met=st.booleans(),
        ago=st.integers(0, 2),
        lasts=st.sampled_from([0, 1, 400]),
        order=which,
    )
    def calibrate(
        self, number: int, met: bool, ago: int, lasts: int, order: int
    ) -> None:
        device = self.choose(Device.objects.order_by("pk"), number)
        day = self.now.astimezone(LONDON).date() - timedelta(days=ago)
        self.forms += 1

        def do() -> None:
            made = record_calibration(
                device=device,
                calibrated_on=day,
                counts_from=day,
                due_on=day + timedelta(days=lasts),
                certificate_number=f"HC-{self.forms}",
                provider="Hollin Calibration",
                requirement_met=met,
                values=[BAR_VALUE] if device.kind == "scale bar" else [],
                acting_user=self.lab.people.technician,
            )
            if met:
                accept_calibration(
                    calibration=made,
                    words="As required.",
                    acting_user=self.lab.people.quality,
                )

        self.act(order, do)

    @rule(
        number=which, since=minutes, lasted=st.sampled_from([1, 60, 900]), order=which
    )
    def find_out_later(self, number: int, since: int, lasted: int, order: int) -> None:
        until = self.now - timedelta(minutes=since)
        devices = list(Device.objects.order_by("pk"))
        about: dict[str, Any] = {"device": devices[number % len(devices)]}
        if number % 7 == 0:
            about = {"system": self.lab.system}
        self.act(
            order,
            lambda: record_later_finding(
                kind="moved",
                since=until - timedelta(minutes=lasted),
                until=until,
                reason="The mount was loose.",
                acting_user=self.lab.people.quality,
                **about,
            ),
        )

    @rule(revoke=st.booleans(), order=which)
    def authority(self, revoke: bool, order: int) -> None:
        lab = self.lab
        granted = Authorisation.objects.filter(
            person=lab.people.technician2, activity=Activity.MEASURE, revocation=None
        ).first()
        if revoke and granted is not None:
            self.act(
                order,
                lambda: revoke_authorisation(
                    authorisation=granted,
                    reason="Has to be trained again.",
                    acting_user=lab.people.quality,
                ),
            )
        elif not revoke and granted is None:
            today = self.now.astimezone(LONDON).date()
            self.act(
                order,
                lambda: grant_authorisation(
                    person=lab.people.technician2,
                    method=lab.method.method,
                    activity=Activity.MEASURE,
                    valid_from=today,
                    valid_until=today,
                    evidence="Witnessed on the bar.",
                    acting_user=lab.people.quality,
                ),
            )

    @rule(number=which, order=which)
    def clear(self, number: int, order: int) -> None:
        hold = self.choose(Hold.objects.filter(clearance=None), number)
        if hold is not None:
            self.cleared.add(hold.pk)
            self.act(
                order,
                lambda: clear_hold(
                    hold=hold,
                    reason="Compared with the other system.",
                    acting_user=self.lab.people.quality,
                ),
            )

    @rule(number=which, affected=st.booleans(), order=which)
    def decide(self, number: int, affected: bool, order: int) -> None:
        task = self.choose(SuspicionTask.objects.filter(decision=None), number)
        outcome = TaskDecision.Outcome
        if task is not None:
            self.act(
                order,
                lambda: decide_task(
                    task=task,
                    outcome=outcome.AFFECTED if affected else outcome.UNAFFECTED,
                    reason="Compared the bar's readings of both systems.",
                    acting_user=self.lab.people.quality,
                ),
            )

    # --- What must hold -----------------------------------------------------------

    @invariant()
    def what_is_stored_is_what_all_records_say(self) -> None:
        with clock.set_to(self.now):
            answers = {answer.session: answer for answer in judge_archive(self.now)}
            told = {pk: _by_definition(pk, self.now) for pk in answers}
        for pk, answer in answers.items():
            judgement = told[pk]
            assert answer.cause_keys == {
                cause_key(pk, str(one.name), one.cause.key, one.procedure)
                for one in judgement.findings
            }
            assert answer.state == judgement.state
            assert answer.judge_again_at == judgement.judge_again_at
            stored = Judgement.objects.get(session=pk)
            assert (stored.state, stored.word) == (judgement.state, judgement.word)
            assert stored.judge_again_at == judgement.judge_again_at
            self.ever |= answer.cause_keys
        assert Judgement.objects.count() == len(answers)
        self.each_finding_has_its_hold_and_none_is_doubled_or_lost()

    def each_finding_has_its_hold_and_none_is_doubled_or_lost(self) -> None:
        found = list(Finding.objects.values_list("cause_key", flat=True))
        # Others raise holds as well, on a job and on no session of it.
        of_sessions = Hold.objects.filter(session__isnull=False)
        held = list(of_sessions.values_list("cause_key", flat=True))
        assert sorted(found) == sorted(held) == sorted(self.ever)
        cleared = Hold.objects.filter(clearance__isnull=False)
        assert set(cleared.values_list("pk", flat=True)) == self.cleared


def _by_definition(pk: int, now: datetime) -> bracketing.Judgement:
    """Judge a session by the definition, told of every check, break and calibration."""
    session = MeasuringSession.objects.select_related("system", "job").get(pk=pk)
    facts = facts_of(session)
    assert facts is not None
    return bracketing.judge(
        facts.session,
        facts.procedures,
        [check_fact(check) for check in checks_of(session.system_id)],
        [break_fact(one) for one in session.system.breaks.all()],
        facts.calibrations,
        facts.later,
        now,
    )
