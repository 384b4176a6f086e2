"""Results are recorded all or none, by whom may, of what was measured."""

from __future__ import annotations

from dataclasses import replace

import pytest

from lab.common import clock
from lab.common.errors import NotAcceptable, NotAllowed, WrongState
from lab.common.models import AuditEntry
from lab.inspections.models import Decision, Result
from lab.inspections.selectors import (
    details_of,
    missing_results,
    results_in_force,
)
from tests import chain

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _afternoon():
    with clock.set_to(chain.at(13)):
        yield


def test_each_result_is_decided_as_it_is_recorded(lab, people, measured) -> None:
    job, session = measured
    made = chain.record(lab, job, session)
    assert len(made) == 6
    assert missing_results(job) == []
    decisions = Decision.objects.filter(result__in=made)
    assert {one.verdict for one in decisions} == {"pass"}
    assert list(results_in_force(job)) == made
    entry = AuditEntry.objects.get(verb="results.recorded")
    assert entry.actor == people.technician
    assert "RR-1-700 1: 1000.012" in entry.values_text


def test_one_bad_value_and_none_is_recorded(lab, measured) -> None:
    job, session = measured
    good = chain.entries(lab, job)
    bad = replace(good[-1], expanded_u_text="0")
    entries_before = AuditEntry.objects.count()
    with pytest.raises(NotAcceptable, match="RR-1-701, characteristic 3: U = 0"):
        chain.record(lab, job, session, entries=[*good[:-1], bad])
    assert not Result.objects.exists()
    assert not Decision.objects.exists()
    assert AuditEntry.objects.count() == entries_before


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        ({"value_text": "12,5,3"}, "characteristic 1"),
        ({"value_text": "NaN"}, "characteristic 1"),
        ({"expanded_u_text": "-0.04"}, "above zero"),
        ({"coverage_factor_text": "1"}, "outside 1.6 to 13"),
        ({"coverage_factor_text": "two"}, "characteristic 1"),
        ({"unit": "°"}, "no unit of a length"),
        ({"unit": "furlong"}, "unit must be one of"),
        ({"temperature_state": ""}, "brought to 20 °C"),
        ({"temperature_state": "corrected here"}, "part's temperature"),
        ({"uncertainty_basis": "tbd"}, "holds the place"),
        ({"uncertainty_basis": ""}, "it is empty"),
        ({"software": "n/a"}, "holds the place"),
        ({"provider": "Hollin Gauging"}, "not of both"),
    ],
)
def test_what_can_not_be_kept_is_refused_by_name(
    lab, measured, changes, sentence: str
) -> None:
    job, session = measured
    item = job.items.first()
    bad = chain.entry(item, lab.characteristics["1"], **changes)
    with pytest.raises(NotAcceptable, match=sentence):
        chain.record(lab, job, session, entries=[bad])
    assert not Result.objects.exists()


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        ({"number_of_points": None}, "number of points"),
        ({"filter_text": ""}, "filter_text must be stated"),
        ({"association": " "}, "association must be stated"),
        ({"value_text": "-0.01"}, "below zero"),
    ],
)
def test_a_form_comes_with_points_filter_and_association(
    lab, measured, changes, sentence: str
) -> None:
    job, session = measured
    bad = chain.entry(job.items.first(), lab.characteristics["2"], **changes)
    with pytest.raises(NotAcceptable, match=sentence):
        chain.record(lab, job, session, entries=[bad])


def test_the_evaluator_must_be_authorised(lab, people, measured) -> None:
    job, session = measured
    with pytest.raises(NotAllowed, match="Ottoline Marsh is not authorised to eval"):
        chain.record(lab, job, session, evaluated_by=people.signatory)
    # Entering what an authorised person evaluated is another matter.
    made = chain.record(lab, job, session, acting_user=people.signatory)
    assert {one.entered_by for one in made} == {people.signatory}
    assert {one.evaluated_by for one in made} == {people.technician}


def test_the_role_must_allow_it(lab, people, measured) -> None:
    job, session = measured
    with pytest.raises(NotAllowed):
        chain.record(lab, job, session, acting_user=people.coordinator)


def test_only_what_the_session_measured(lab, people) -> None:
    job = chain.ready_job(lab)
    first, second = job.items.all()
    session = chain.start(lab, job, items=[first])
    job.refresh_from_db()
    with pytest.raises(NotAcceptable, match="RR-1-701 was not measured"):
        chain.record(lab, job, session)
    other, other_session = chain.ready_job(lab), None
    other_session = chain.start(lab, other, system=lab.other_system)
    entry = chain.entry(first, lab.characteristics["1"])
    with pytest.raises(NotAcceptable, match="another job"):
        chain.record(lab, job, other_session, entries=[entry])
    stranger = chain.entry(other.items.first(), lab.characteristics["1"])
    with pytest.raises(NotAcceptable, match="another job"):
        chain.record(lab, job, session, entries=[stranger])
    assert second.results.count() == 0


def test_nothing_twice(lab, measured) -> None:
    job, session = measured
    entry = chain.entry(job.items.first(), lab.characteristics["1"])
    with pytest.raises(NotAcceptable, match="stands there twice"):
        chain.record(lab, job, session, entries=[entry, entry])
    with pytest.raises(NotAcceptable, match="no value"):
        chain.record(lab, job, session, entries=[])
    chain.record(lab, job, session, entries=[entry])
    with pytest.raises(NotAcceptable, match="has a result already"):
        chain.record(lab, job, session)
    assert Result.objects.count() == 1


def test_only_while_the_job_is_measured(lab, people) -> None:
    job = chain.ready_job(lab)
    with pytest.raises(WrongState, match="received"):
        chain.record(lab, job, None)
    done = chain.evaluated_job(lab)
    with pytest.raises(WrongState, match="evaluated"):
        chain.record(lab, done, done.sessions.get())


def test_others_results_are_marked_and_held_to_no_claim_of_ours(lab, measured) -> None:
    job, _ = measured
    item, one = job.items.first(), lab.characteristics["1"]
    unmarked = chain.entry(item, one)
    with pytest.raises(NotAcceptable, match="which outside provider"):
        chain.record(lab, job, None, entries=[unmarked])
    marked = chain.entry(item, one, provider="Hollin Gauging", expanded_u_text="0.004")
    (made,) = chain.record(lab, job, None, entries=[marked])
    assert made.session is None
    decision = made.decisions.get()
    assert decision.printed_u == "0.0040"
    assert details_of(decision)["cmc"] is None


def test_a_stale_agreement_decides_nothing(lab, people, measured) -> None:
    job, session = measured
    chain.correct_drawing(lab)
    with pytest.raises(WrongState, match="recorded anew since"):
        chain.record(lab, job, session)
