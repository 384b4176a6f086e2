"""Holds on jobs whose planned or running work a due date cuts."""

from __future__ import annotations

from datetime import date, timedelta

import pytest

from lab.common import clock
from lab.common.actors import PROGRAM
from lab.common.models import AuditEntry, WorkItem
from lab.common.work.running import work_off
from lab.equipment.models import Calibration
from lab.jobs.due import cut_jobs
from lab.jobs.models import Hold, Job
from lab.jobs.services import cancel_job, clear_hold
from lab.jobs.services.due import hold_cut_jobs
from tests import chain

pytestmark = pytest.mark.django_db


@pytest.fixture
def lab(people) -> chain.Lab:
    return chain.found_lab(people)


def last_good_day(lab: chain.Lab) -> date:
    """Return the first day after which a device of the lab's chains is not current."""
    return min(
        Calibration.objects.filter(
            device__in=[lab.system.tracker, lab.system.scanner, lab.bar]
        ).values_list("due_on", flat=True)
    )


def wanted(lab: chain.Lab, day: date) -> Job:
    job = chain.book(lab, wanted_on=day)
    with clock.set_to(chain.at(9)):
        hold_cut_jobs(acting_user=PROGRAM)
    return job


def test_a_job_wanted_on_the_last_good_day_is_not_held(lab) -> None:
    assert not wanted(lab, last_good_day(lab)).holds.exists()


def test_a_job_wanted_a_day_later_is_held_once_a_due_date(lab) -> None:
    day = last_good_day(lab) + timedelta(days=1)
    job = wanted(lab, day)
    holds = list(job.holds.all())
    assert holds
    assert {hold.title for hold in holds} == {"Calibration ends before the work"}
    assert all(f"{day:%Y-%m-%d}" in hold.reason for hold in holds)
    with clock.set_to(chain.at(10)):
        hold_cut_jobs(acting_user=PROGRAM)
    assert job.holds.count() == len(holds)
    entries = AuditEntry.objects.filter(verb="hold.raised")
    assert entries.count() == len(holds)


def test_a_hold_that_was_cleared_stays_cleared(people, lab) -> None:
    job = wanted(lab, last_good_day(lab) + timedelta(days=1))
    for hold in job.holds.all():
        clear_hold(hold=hold, reason="Other bar.", acting_user=people.quality)
    count = Hold.objects.count()
    with clock.set_to(chain.at(10)):
        hold_cut_jobs(acting_user=PROGRAM)
    assert Hold.objects.count() == count


def test_a_running_session_is_held_when_the_day_is_over(lab) -> None:
    job = chain.ready_job(lab)
    with clock.set_to(chain.at(9)):
        chain.start(lab, job)
        assert [one.job for one in cut_jobs()] == []
    after = (last_good_day(lab) - chain.DAY).days + 1
    with clock.set_to(chain.at(9, days=after)):
        assert {one.job.number for one in cut_jobs()} == {job.number}


def test_a_job_without_a_date_or_that_is_over_is_not_held(people, lab) -> None:
    chain.book(lab)
    job = chain.book(lab, wanted_on=last_good_day(lab) + timedelta(days=1))
    with clock.set_to(chain.at(9)):
        assert {one.job for one in cut_jobs()} == {job}
        cancel_job(job=job, reason="Withdrawn.", acting_user=people.coordinator)
        assert cut_jobs() == []


def test_one_system_of_the_room_that_stays_current_is_enough(lab) -> None:
    tracker = lab.other_system.tracker
    tracker.room = lab.system.tracker.room
    tracker.save(update_fields=["room"])
    day = last_good_day(lab)
    devices = [lab.bar, tracker, lab.other_system.scanner]
    with clock.set_to(chain.at(9)):
        chain.book(lab, wanted_on=day + timedelta(days=30))
        assert len(cut_jobs()) > 0
        for device in devices:
            chain.calibrate(
                lab.people,
                device,
                due_on=day + timedelta(days=40),
                certificate_number=f"HC-{device.tag}-2602",
            )
        assert cut_jobs() == []


def test_a_new_calibration_has_the_jobs_looked_at(people, lab) -> None:
    with clock.set_to(chain.at(9)):
        work_off()
        job = chain.book(lab, wanted_on=date(2026, 3, 20))
        made = chain.calibrate(
            people,
            lab.bar,
            due_on=chain.DAY + timedelta(days=1),
            certificate_number="HC-SB-1-2602",
        )
        wanted_work = WorkItem.objects.filter(kind="jobs.device_calibrated")
        assert wanted_work.filter(object_id=made.device_id, state="wanted").exists()
        work_off()
    assert job.holds.get().cause_key == f"due:device:{made.device_id}:2026-03-18"


def test_before_the_laboratory_is_set_up_nothing_is_held(db) -> None:
    assert hold_cut_jobs(acting_user=PROGRAM) == 0
