"""Correcting results, deciding them anew, ending the evaluation."""

from __future__ import annotations

import pytest

from lab.common import clock
from lab.common.errors import NotAcceptable, NotAllowed, WrongState
from lab.common.models import AuditEntry
from lab.inspections.entries import ResultEntry
from lab.inspections.models import Decision, Result
from lab.inspections.selectors import (
    decision_of,
    history_of,
    missing_results,
    results_in_force,
    undecided_results,
)
from lab.inspections.services import (
    correct_result,
    decide_anew,
    finish_evaluation,
)
from lab.jobs.models import Job
from lab.jobs.selectors import agreement_in_force
from lab.jobs.services import end_session, move_job
from lab.parts.entries import CharacteristicEntry
from tests import chain

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _afternoon():
    with clock.set_to(chain.at(13)):
        yield


@pytest.fixture
def recorded(lab, measured) -> tuple[Job, list[Result]]:
    job, session = measured
    return job, chain.record(lab, job, session)


def correct(lab, result: Result, **changes) -> Result:
    entry = chain.entry(result.item, result.characteristic, value_text="1000.030")
    return correct_result(
        **{
            "result": result,
            "entry": entry,
            "reason": "Two points were left out.",
            "acting_user": lab.people.technician,
        }
        | changes
    )


def test_a_correction_keeps_the_old_value(lab, people, recorded) -> None:
    job, results = recorded
    made = correct(lab, results[0], acting_user=people.technician2)
    assert made.session == results[0].session
    assert made.evaluated_by == people.technician2
    assert history_of(made) == [made, results[0]]
    assert made in results_in_force(job)
    assert results[0] not in results_in_force(job)
    assert made.decisions.get().printed_value == "1000.030"
    entry = AuditEntry.objects.get(verb="result.corrected")
    assert entry.reason == "Two points were left out."
    assert '"value":"1000.012 mm"' in entry.values_text
    assert '"value":"1000.030 mm"' in entry.values_text


def test_a_value_is_corrected_once(lab, recorded) -> None:
    _, results = recorded
    correct(lab, results[0])
    with pytest.raises(WrongState, match="corrected already"):
        correct(lab, results[0])
    assert Result.objects.count() == 7
    assert Decision.objects.count() == 7


def test_what_a_correction_must_be(lab, people, recorded) -> None:
    _, results = recorded
    with pytest.raises(NotAcceptable) as refusal:
        correct(lab, results[0], reason=" ")
    assert refusal.value.field == "reason"
    with pytest.raises(NotAcceptable, match="same item and characteristic"):
        correct(lab, results[0], entry=ResultEntry.of(results[1]))
    with pytest.raises(NotAllowed, match="not authorised to evaluate"):
        correct(lab, results[0], acting_user=people.signatory)
    with pytest.raises(NotAllowed):
        correct(lab, results[0], acting_user=people.coordinator)


def test_a_correction_may_be_of_another_session(lab, people, recorded) -> None:
    job, results = recorded
    again = chain.start(lab, job)
    end_session(session=again, at=clock.now(), acting_user=people.technician)
    made = correct(lab, results[0], session=again)
    assert made.session == again
    stranger = chain.start(lab, chain.ready_job(lab), system=lab.other_system)
    with pytest.raises(NotAcceptable, match="another job"):
        correct(lab, made, session=stranger)


def test_a_session_s_value_may_turn_out_to_be_somebody_else_s(lab, recorded) -> None:
    _, results = recorded
    entry = chain.entry(
        results[0].item, results[0].characteristic, provider="Hollin Gauging"
    )
    made = correct(lab, results[0], entry=entry)
    assert (made.session, made.provider) == (None, "Hollin Gauging")


def test_an_evaluation_ends_when_nothing_is_missing(lab, people, measured) -> None:
    job, session = measured
    some = chain.entries(lab, job)[:-2]
    with pytest.raises(WrongState, match="RR-1-700 has no result for characteristic 1"):
        finish_evaluation(job=job, acting_user=people.technician)
    chain.record(lab, job, session, entries=some)
    assert [(i.serial, c.number) for i, c in missing_results(job)] == [
        ("RR-1-701", "2"),
        ("RR-1-701", "3"),
    ]
    with pytest.raises(WrongState, match=r"RR-1-701 .* characteristic 2, and 1 more"):
        finish_evaluation(job=job, acting_user=people.technician)
    chain.record(lab, job, session, entries=chain.entries(lab, job)[-2:])
    finish_evaluation(job=job, acting_user=people.technician)
    assert Job.objects.get(pk=job.pk).state == "evaluated"
    with pytest.raises(WrongState, match="can't become"):
        finish_evaluation(job=job, acting_user=people.technician)


def test_an_evaluation_does_not_end_while_somebody_measures(
    lab, people, recorded
) -> None:
    job, _ = recorded
    chain.start(lab, job)
    with pytest.raises(WrongState, match="has not ended"):
        finish_evaluation(job=job, acting_user=people.technician)


def test_a_later_agreement_decides_anew_and_keeps_the_old(
    lab, people, recorded
) -> None:
    job, results = recorded
    first = agreement_in_force(job)
    chain.agree(lab, job, rule=lab.simple)
    second = agreement_in_force(job)
    assert first is not None
    assert second is not None
    with pytest.raises(WrongState, match="Decide them anew"):
        finish_evaluation(job=job, acting_user=people.technician)
    assert len(decide_anew(job=job, acting_user=people.technician)) == 6
    assert decide_anew(job=job, acting_user=people.technician) == []
    old, new = (decision_of(results[0], one) for one in (first, second))
    assert old is not None
    assert new is not None
    assert "guarded" in old.details_text
    assert "simple acceptance" in new.details_text
    finish_evaluation(job=job, acting_user=people.technician)


def test_values_go_over_to_a_corrected_drawing(lab, people, recorded) -> None:
    job, results = recorded
    corrected = chain.correct_drawing(lab)
    with pytest.raises(WrongState, match="recorded anew since"):
        decide_anew(job=job, acting_user=people.technician)
    chain.agree(lab, job, part_revision=corrected)
    job.refresh_from_db()
    assert len(missing_results(job)) == 6
    decide_anew(job=job, acting_user=people.technician)
    assert missing_results(job) == []
    now = list(results_in_force(job))
    assert [one.value_text for one in now] == [one.value_text for one in results]
    assert {one.characteristic.revision for one in now} == {corrected}
    assert {one.supersedes for one in now} == set(results)
    # ±0.2 less U = 0.04.
    decision = now[0].decisions.get()
    assert '"acceptance_upper":"1000.160"' in decision.details_text
    finish_evaluation(job=job, acting_user=people.technician)


def test_a_value_goes_over_only_to_the_same_thing(lab, people, recorded) -> None:
    job, _ = recorded
    moved = [
        CharacteristicEntry("1", "length", "Eye to foot", "mm", "1000", "-0.1", "0.1"),
        CharacteristicEntry("2", "form", "Flatness of the foot", "mm", "0", "", "0.1"),
    ]
    corrected = chain.correct_drawing(lab, characteristics=moved)
    chain.agree(lab, job, part_revision=corrected)
    job.refresh_from_db()
    decide_anew(job=job, acting_user=people.technician)
    missing = {(i.serial, c.number) for i, c in missing_results(job)}
    assert missing == {("RR-1-700", "1"), ("RR-1-701", "1")}
    assert undecided_results(job, agreement_in_force(job)) == []


def test_an_entry_made_of_a_record_is_the_record(recorded) -> None:
    _, results = recorded
    for result in results:
        columns = ResultEntry.of(result).columns()
        assert {name: getattr(result, name) for name in columns} == columns


def test_a_job_measured_again_keeps_its_results(lab, people) -> None:
    job = chain.evaluated_job(lab)
    chain.start(lab, job)
    job.refresh_from_db()
    assert job.state == "measuring"
    assert missing_results(job) == []
    end_session(
        session=job.sessions.first(), at=clock.now(), acting_user=people.technician
    )
    move_job(job=job, to="evaluated", acting_user=people.technician)


@pytest.mark.django_db(transaction=True)
@pytest.mark.postgres
def test_of_two_corrections_one_wins(on_postgres, in_threads, lab, people) -> None:
    job, session = chain.measured_job(lab)
    results = chain.record(lab, job, session)
    raised = in_threads([lambda: correct(lab, results[0])] * 2)
    assert [type(error) for error in raised] == [WrongState]
    assert results_in_force(job).count() == 6


@pytest.mark.django_db(transaction=True)
@pytest.mark.postgres
def test_of_two_who_type_the_same_one_wins(on_postgres, in_threads, lab) -> None:
    job, session = chain.measured_job(lab)
    entries = chain.entries(lab, job)
    raised = in_threads([lambda: chain.record(lab, job, session, entries=entries)] * 2)
    assert [type(error) for error in raised] == [NotAcceptable]
    assert results_in_force(job).count() == 6
