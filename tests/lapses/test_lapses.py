"""The lapse rules through the services: findings, holds, judging again, reach."""

from __future__ import annotations

from datetime import timedelta

import pytest

from lab.checks.services import confirm_late_check, record_break, record_check
from lab.common import clock
from lab.common.actors import PROGRAM
from lab.common.work.running import work_off
from lab.equipment.services import record_calibration
from lab.jobs.models import Hold, MeasuringSession, SessionEvent
from lab.jobs.selectors import open_holds
from lab.jobs.services import clear_hold, correct_event, end_session
from lab.lapses.models import Finding, Judgement
from lab.lapses.reach import touched_sessions
from lab.lapses.selectors import anything_due
from lab.lapses.services import judge_session, judge_system
from lab.lapses.tasks import judge_due
from lab.metrology.units import Quantity
from tests.chain import (
    BAR_VALUE,
    Lab,
    at,
    check,
    measured_job,
    ready_job,
    start,
    void,
)

pytestmark = pytest.mark.django_db


def judged(session: MeasuringSession) -> Judgement:
    made = judge_session(session=session, acting_user=PROGRAM)
    assert made is not None
    return made


def names(session: MeasuringSession) -> list[str]:
    return sorted(session.findings.values_list("name", flat=True))


def test_a_session_between_two_passes_is_bracketed(lab: Lab) -> None:
    check(lab, at(8, 30))
    job, session = measured_job(lab)
    check(lab, at(12))
    with clock.set_to(at(12, 30)):
        assert judged(session).word == "bracketed"
    assert not open_holds(job).exists()


def test_before_its_closing_check_it_is_open_and_holds_nothing(lab: Lab) -> None:
    check(lab, at(8, 30))
    job, session = measured_job(lab)
    with clock.set_to(at(11, 30)):
        made = judged(session)
    assert made.word == "open"
    assert made.judge_again_at is not None
    assert not open_holds(job).exists()


def test_without_a_valid_check_it_is_unchecked(lab: Lab) -> None:
    job, session = measured_job(lab)
    with clock.set_to(at(11, 30)):
        judged(session)
    assert names(session) == ["unchecked"]
    hold = open_holds(job).get()
    assert "Unchecked" in hold.title
    assert hold.session == session


def test_time_passing_makes_it_lapse_and_the_sweep_finds_it(lab: Lab) -> None:
    check(lab, at(8, 30))
    job, session = measured_job(lab)
    with clock.set_to(at(11, 30)):
        made = judged(session)
        assert not anything_due()
    with clock.set_to(made.judge_again_at + timedelta(seconds=1)):
        assert anything_due()
        assert judge_due() == 1
        assert judge_due() == 0
    assert names(session) == ["lapsed"]
    assert open_holds(job).count() == 1


def test_a_failed_check_makes_everything_since_the_last_pass_suspect(
    lab: Lab,
) -> None:
    check(lab, at(8, 30))
    job, session = measured_job(lab)
    failed = check(lab, at(12), off_um=90)
    assert not failed.passed
    with clock.set_to(at(12, 5)):
        work_off()
    assert "suspect" in names(session)
    finding = session.findings.get(name="suspect")
    assert f"check {failed.pk}" in finding.reason
    assert finding.hold.job == job


def test_a_later_pass_lifts_no_suspicion(lab: Lab) -> None:
    check(lab, at(8, 30))
    job, _ = measured_job(lab)
    check(lab, at(12), off_um=90)
    with clock.set_to(at(12, 5)):
        work_off()
    check(lab, at(13))
    with clock.set_to(at(13, 5)):
        work_off()
    assert open_holds(job).filter(title__startswith="Suspect").exists()


def test_judging_again_doubles_nothing_and_brings_nothing_back(lab: Lab) -> None:
    job, session = measured_job(lab)
    with clock.set_to(at(11, 30)):
        judged(session)
        hold = open_holds(job).get()
        clear_hold(
            hold=hold,
            reason="Compared with the other system.",
            acting_user=lab.people.quality,
        )
        judged(session)
        judged(session)
    assert Finding.objects.count() == Hold.objects.count() == 1
    assert not open_holds(job).exists()


def test_voiding_a_pass_judges_at_once(lab: Lab) -> None:
    opening = check(lab, at(8, 30))
    _, session = measured_job(lab)
    check(lab, at(12))
    with clock.set_to(at(12, 5)):
        work_off()
        assert Judgement.objects.get(session=session).word == "bracketed"
        void(lab, opening)
        work_off()
    assert names(session) == ["unchecked"]


def test_voiding_a_fail_leaves_its_hold_until_a_person_clears_it(lab: Lab) -> None:
    check(lab, at(8, 30))
    job, session = measured_job(lab)
    failed = check(lab, at(12), off_um=90)
    with clock.set_to(at(12, 5)):
        work_off()
        void(lab, failed)
        work_off()
    assert open_holds(job).filter(title__startswith="Suspect").exists()
    check(lab, at(13))
    with clock.set_to(at(13, 5)):
        work_off()
    assert Judgement.objects.get(session=session).word == "bracketed"
    assert open_holds(job).exists()


def test_no_check_bridges_a_break(lab: Lab) -> None:
    check(lab, at(8, 30))
    _, session = measured_job(lab)
    with clock.set_to(at(11, 20)):
        record_break(
            system=lab.system,
            kind="knock",
            at=at(11, 10),
            note="The tripod was knocked.",
            acting_user=lab.people.technician,
        )
    check(lab, at(12))
    with clock.set_to(at(12, 5)):
        work_off()
    assert names(session) == ["unclosed"]


def test_a_late_check_meets_nothing_without_a_second_person(lab: Lab) -> None:
    _, session = measured_job(lab)
    with clock.set_to(at(12)):
        late = record_check(
            system=lab.system,
            procedure=lab.procedure,
            started_at=at(8, 20),
            ended_at=at(8, 30),
            artefact_temperature=Quantity("20.0", "°C"),
            thermometer=lab.thermometer,
            readings=dict.fromkeys(lab.procedure.position_names, BAR_VALUE.value),
            form_key="late",
            acting_user=lab.people.technician,
        )
        judge_system(system_id=lab.system.pk, acting_user=PROGRAM)
        assert late.passed
        assert names(session) == ["unchecked"]
        confirm_late_check(
            check=late, reason="Seen in the notebook.", acting_user=lab.people.quality
        )
        judge_system(system_id=lab.system.pk, acting_user=PROGRAM)
    assert Judgement.objects.get(session=session).word == "open"


def test_a_corrected_time_is_judged_again(lab: Lab) -> None:
    job = ready_job(lab)
    check(lab, at(9, 30))
    with clock.set_to(at(9, 40)):
        session = start(lab, job, at=at(9))
        work_off()
    assert names(session) == ["unchecked"]
    with clock.set_to(at(11)):
        correct_event(
            event=SessionEvent.objects.get(session=session),
            at=at(9, 35),
            reason="Typed nine in place of nine thirty-five.",
            acting_user=lab.people.technician,
        )
        end_session(session=session, at=at(10), acting_user=lab.people.technician)
        work_off()
    assert Judgement.objects.get(session=session).state == "open"


def test_a_calibration_that_was_not_met_is_found_on_what_leans_on_it(
    lab: Lab,
) -> None:
    check(lab, at(8, 30))
    _, session = measured_job(lab)
    check(lab, at(12))
    with clock.set_to(at(13)):
        work_off()
        assert names(session) == []
        day = at(7).date()
        record_calibration(
            device=lab.system.tracker,
            calibrated_on=day,
            counts_from=day,
            due_on=day + timedelta(days=365),
            certificate_number="T-BAD",
            provider="Headland Calibration Service",
            requirement_met=False,
            acting_user=lab.people.technician,
        )
        work_off()
    assert names(session) == ["calibration not current", "suspect"]
    for finding in session.findings.all():
        assert lab.system.tracker.tag in finding.reason


def test_an_event_touches_only_the_sessions_between_its_neighbours(lab: Lab) -> None:
    check(lab, at(8, 30))
    _, session = measured_job(lab)
    check(lab, at(12))
    with clock.set_to(at(12, 5)):
        judge_system(system_id=lab.system.pk, acting_user=PROGRAM)
    bookmark = lab.system.bookmark
    assert touched_sessions(lab.system, bookmark) == []
    check(lab, at(14))
    assert touched_sessions(lab.system, bookmark) == []
    lab.system.refresh_from_db()
    check(lab, at(8, 45))
    assert touched_sessions(lab.system, bookmark) == [session]


def test_each_system_is_judged_by_its_own_checks(lab: Lab) -> None:
    check(lab, at(8, 30))
    _, session = measured_job(lab)
    with clock.set_to(at(11, 30)):
        before = judged(session)
        judge_system(system_id=lab.other_system.pk, acting_user=PROGRAM)
        after = Judgement.objects.get(session=session)
    assert (before.word, before.judged_at) == (after.word, after.judged_at)


@pytest.mark.django_db(transaction=True)
@pytest.mark.postgres
def test_two_sweeps_at_once_double_no_hold(on_postgres, in_threads, lab: Lab) -> None:
    job, session = measured_job(lab)

    def judge() -> None:
        with clock.set_to(at(11, 30)):
            judged(session)

    assert in_threads([judge] * 4) == []
    assert Finding.objects.count() == open_holds(job).count() == 1


@pytest.mark.django_db(transaction=True)
@pytest.mark.postgres
def test_two_workers_that_sweep_while_a_check_fails_lose_and_double_nothing(
    on_postgres, in_threads, lab: Lab
) -> None:
    """Nine sessions lapse overnight; the morning's check fails while both sweep."""
    check(lab, at(8, 30))
    jobs = []
    for number in range(9):
        job, session = measured_job(lab, serials=[f"RR-1-8{number}"])
        with clock.set_to(at(11, 30)):
            judged(session)
        jobs.append(job)

    def sweep() -> None:
        with clock.set_to(at(8, days=1)):
            judge_due()

    def fail() -> None:
        check(lab, at(7, 55, days=1), off_um=120)
        with clock.set_to(at(8, days=1)):
            judge_system(system_id=lab.system.pk, acting_user=PROGRAM)

    assert in_threads([sweep, sweep, fail]) == []
    for job in jobs:
        assert names(job.sessions.get()) == ["lapsed", "suspect"]
        assert open_holds(job).count() == 2
