"""What is found out later: about devices, people, and other systems' checks."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.test import Client
from django.urls import reverse

from lab.checks.models import MeasuringSystem
from lab.common import clock
from lab.common.audit import AuditEntry
from lab.common.errors import NotAcceptable, NotAllowed, WrongState
from lab.common.work.running import work_off
from lab.jobs.models import MeasuringSession, SessionEvent
from lab.jobs.selectors import forgotten_sessions, open_holds
from lab.jobs.services import correct_event
from lab.laboratory.models import Activity, Authorisation
from lab.laboratory.services import revoke_authorisation
from lab.lapses.models import LaterFinding, SuspicionTask
from lab.lapses.panels import findings as findings_panel
from lab.lapses.selectors import (
    related_sessions,
    sessions_in_window,
    undecided_suspicions,
)
from lab.lapses.services import decide_task, record_later_finding
from tests.chain import Lab, at, calibrate, check, measured_job, ready_job, start

pytestmark = pytest.mark.django_db


def names(session: MeasuringSession) -> list[str]:
    return sorted(session.findings.values_list("name", flat=True))


def found_wrong(lab: Lab, **changes: object) -> LaterFinding:
    return record_later_finding(
        **{
            "device": lab.system.scanner,
            "kind": "damaged",
            "since": at(8),
            "until": at(12),
            "reason": "A cracked mount.",
            "acting_user": lab.people.quality,
        }
        | changes
    )


def test_a_finding_about_a_device_reaches_what_was_measured_with_it(lab: Lab) -> None:
    check(lab, at(8, 30))
    job, session = measured_job(lab)
    check(lab, at(12))
    with clock.set_to(at(13)):
        found_wrong(lab)
        found_wrong(lab)
        work_off()
    assert LaterFinding.objects.count() == 1
    assert names(session) == ["suspect"]
    assert "A cracked mount." in open_holds(job).get().reason


def test_a_finding_about_another_time_or_device_reaches_nothing(lab: Lab) -> None:
    check(lab, at(8, 30))
    _, session = measured_job(lab)
    check(lab, at(12))
    with clock.set_to(at(13)):
        found_wrong(lab, since=at(11), until=at(12))
        found_wrong(lab, device=lab.other_system.scanner)
        found_wrong(lab, device=None, system=lab.other_system)
        work_off()
    assert names(session) == []


def test_the_thermometer_of_a_check_takes_its_sessions_along(lab: Lab) -> None:
    check(lab, at(8, 30))
    job = ready_job(lab)
    with clock.set_to(at(9)):
        session = start(lab, job)
    with clock.set_to(at(10)):
        found_wrong(lab, device=lab.thermometer, since=at(8), until=at(8, 25))
        work_off()
    assert names(session) == ["suspect"]


@pytest.mark.parametrize(
    "wrong",
    [
        {"kind": "odd"},
        {"since": at(12), "until": at(12)},
        {"until": at(20)},
        {"reason": " "},
        {"device": None},
    ],
)
def test_a_finding_that_makes_no_sense_is_refused(lab: Lab, wrong: dict) -> None:
    with clock.set_to(at(13)), pytest.raises(NotAcceptable):
        found_wrong(lab, **wrong)
    assert not LaterFinding.objects.exists()


def test_a_calibration_out_of_tolerance_covers_the_time_since_the_last(
    lab: Lab,
) -> None:
    with clock.set_to(at(13)):
        calibrate(
            lab.people,
            lab.bar,
            calibrated_on=at(0).date(),
            counts_from=at(0).date(),
            certificate_number="HC-2",
            requirement_met=False,
        )
        work_off()
        work_off()
    row = LaterFinding.objects.get()
    assert row.device == lab.bar
    assert (row.since.date().isoformat(), row.until) == ("2026-01-12", at(13))


def test_who_was_not_authorised_at_the_corrected_start_is_found(lab: Lab) -> None:
    check(lab, at(8, 30))
    _, session = measured_job(lab)
    granted = Authorisation.objects.get(
        person=lab.people.technician, activity=Activity.MEASURE
    )
    event = SessionEvent.objects.get(session=session, kind="end")
    with clock.set_to(at(12)):
        revoke_authorisation(
            authorisation=granted, reason="Moved on.", acting_user=lab.people.quality
        )
        work_off()
        assert names(session) == []
    with clock.set_to(at(14)):
        correct_event(
            event=event,
            at=at(13),
            reason="Went on until one.",
            acting_user=lab.people.quality,
        )
        work_off()
    assert names(session) == ["authorisation"]
    assert lab.people.technician.name in session.findings.get().reason


# --- Other systems -------------------------------------------------------------------


def failed_elsewhere(lab: Lab) -> tuple[MeasuringSession, MeasuringSystem]:
    """Measure with one system; then another, with the same bar, fails its check."""
    check(lab, at(8, 30))
    _, session = measured_job(lab)
    check(lab, at(12))
    with clock.set_to(at(12, 10)):
        work_off()
    check(lab, at(12, 20), system=lab.other_system, off_um=90)
    return session, lab.other_system


def test_sessions_that_share_the_bar_become_tasks(lab: Lab) -> None:
    session, other = failed_elsewhere(lab)
    fail = other.checks.get()
    (related,) = related_sessions(fail)
    assert (related.session, related.shared) == (session, "SB-1")
    assert undecided_suspicions([session])
    with clock.set_to(at(12, 30)):
        work_off()
        work_off()
    task = SuspicionTask.objects.get()
    assert (task.session, task.artefact_check) == (session, fail)
    assert names(session) == []


def test_certificates_wait_for_the_decision(lab: Lab, people) -> None:
    session, _ = failed_elsewhere(lab)
    with clock.set_to(at(12, 30)):
        work_off()
        task = SuspicionTask.objects.get()
        with pytest.raises(NotAllowed):
            decide_task(
                task=task,
                outcome="unaffected",
                reason="No.",
                acting_user=people.technician,
            )
        (sentence,) = undecided_suspicions([session])
        assert "SB-1" in sentence
        decide_task(
            task=task,
            outcome="unaffected",
            reason="The bar was compared: it is right.",
            acting_user=people.quality,
        )
        with pytest.raises(WrongState):
            decide_task(
                task=task,
                outcome="affected",
                reason="Or so.",
                acting_user=people.quality,
            )
        work_off()
    assert undecided_suspicions([session]) == []
    assert names(session) == []
    assert AuditEntry.objects.filter(verb="suspicion.decided").count() == 1


def test_an_affected_session_becomes_suspect(lab: Lab) -> None:
    session, _ = failed_elsewhere(lab)
    with clock.set_to(at(12, 30)):
        work_off()
        decide_task(
            task=SuspicionTask.objects.get(),
            outcome="affected",
            reason="The bar had moved.",
            acting_user=lab.people.quality,
        )
        work_off()
    assert names(session) == ["suspect"]


def test_a_pause_is_no_measuring_in_a_window(lab: Lab) -> None:
    _, session = measured_job(lab)
    assert sessions_in_window([lab.system], at(10), at(12)) == [session]
    assert sessions_in_window([lab.system], at(11), at(12)) == []
    assert sessions_in_window([lab.system], None, at(9)) == []
    assert sessions_in_window([lab.other_system], None, at(12)) == []


# --- Pages ----------------------------------------------------------------------------


def test_a_finding_is_recorded_on_its_page(lab: Lab, sign_in) -> None:
    client = sign_in(Client(), lab.people.quality)
    address = reverse("lapses:find", args=["SC-1"])
    with clock.set_to(at(13)):
        form = {
            "kind": "damaged",
            "since": "2026-03-17T08:00",
            "until": "2026-03-17T12:00",
            "reason": "A cracked mount.",
        }
        assert client.post(address, form | {"reason": ""}).status_code == 400
        assert client.post(address, form).status_code == 302
        assert "A cracked mount." in client.get(address).content.decode()
    assert LaterFinding.objects.get().since == at(8)


def test_one_decision_clears_the_holds_of_one_cause(lab: Lab, sign_in) -> None:
    check(lab, at(8, 30))
    job, _ = measured_job(lab)
    other = ready_job(lab, serials=["RR-1-800"])
    with clock.set_to(at(11, 30)):
        second = start(lab, other, items=list(other.items.all()))
    check(lab, at(12), off_um=90)
    with clock.set_to(at(12, 5)):
        work_off()
        finding = second.findings.get(name="suspect")
        client = sign_in(Client(), lab.people.quality)
        address = reverse("lapses:clear", args=[finding.pk])
        shown = client.get(address).content.decode()
        assert job.number in shown
        assert other.number in shown
        holds = [open_holds(job).get().pk, finding.hold_id]
        answer = client.post(address, {"holds": holds, "reason": "Both compared."})
    assert answer.status_code == 302
    assert not open_holds(job).exists()
    cleared = AuditEntry.objects.filter(verb="hold.cleared")
    assert cleared.count() == 2


def test_a_lapse_shows_what_the_next_check_said(lab: Lab) -> None:
    check(lab, at(8, 30))
    job, session = measured_job(lab)
    with clock.set_to(at(9, days=1)):
        work_off()
        assert names(session) == ["lapsed"]
        panel = findings_panel(lab.people.quality, job)
        assert panel is not None
        assert panel.context["findings"][0].next_verdict == ""
    check(lab, at(10, days=1))
    panel = findings_panel(lab.people.quality, job)
    assert panel is not None
    assert panel.context["findings"][0].next_verdict == "pass"


def test_a_session_left_running_asks(lab: Lab, sign_in) -> None:
    job = ready_job(lab)
    with clock.set_to(at(9)):
        session = start(lab, job)
    client = sign_in(Client(), lab.people.technician)
    with clock.set_to(at(9, 30)):
        assert not forgotten_sessions().exists()
    with clock.set_to(at(9) + timedelta(minutes=31)):
        assert forgotten_sessions().get() == session
        assert "Is it still being measured?" in client.get("/").content.decode()
