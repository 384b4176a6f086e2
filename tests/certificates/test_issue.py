"""Issue: what stands against it, what it freezes, what it leaves behind."""

from __future__ import annotations

import json
import re

import pytest

from lab.certificates.guards import NotIssuable
from lab.certificates.models import (
    Certificate,
    CertificateItem,
    CertificateResult,
    Draft,
)
from lab.certificates.services import (
    abandon_draft,
    approve_draft,
    issue_certificate,
    send_back_draft,
    start_draft,
    submit_draft,
)
from lab.certificates.snapshot import content_of
from lab.certificates.states import DraftNotReviewed
from lab.checks.services import record_break
from lab.common import audit, clock
from lab.common.errors import NotAcceptable, NotAllowed, WrongState
from lab.common.jsontext import canonical_text, sha256_hex
from lab.common.models import AuditEntry, NumberSeries, WorkItem
from lab.inspections.entries import ResultEntry
from lab.inspections.selectors import results_in_force
from lab.inspections.services import correct_result, decide_anew
from lab.jobs.models import Hold, Job
from lab.jobs.selectors import open_holds
from lab.jobs.services import clear_hold, end_session, move_job, raise_hold
from lab.laboratory.models import Laboratory
from lab.metrology.units import Quantity
from tests import chain

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _afternoon():
    with clock.set_to(chain.at(14)):
        yield


@pytest.fixture
def reviewed(lab, job) -> Draft:
    return chain.reviewed_draft(lab, job)


def refused(lab, draft: Draft, sentence: str) -> None:
    """Try to issue, and find that it was refused and left nothing at all."""
    before = (AuditEntry.objects.count(), Hold.objects.count())
    with pytest.raises(NotIssuable, match=sentence):
        chain.issue(lab, draft)
    assert (AuditEntry.objects.count(), Hold.objects.count()) == before
    assert not Certificate.objects.exists()
    assert not NumberSeries.objects.filter(series="certificate", last__gt=0).exists()
    assert Draft.objects.get(pk=draft.pk).state == "reviewed"


def test_a_certificate_is_frozen_numbered_and_to_be_rendered(
    lab, people, job, reviewed
) -> None:
    content = content_of(reviewed)
    audit.seal_all()
    head = audit.head()
    made = chain.issue(lab, reviewed)
    assert made.number == "C2026-0001"
    assert made.issued_by == people.signatory
    assert made.snapshot_sha256 == sha256_hex(made.snapshot_text)
    snapshot = json.loads(made.snapshot_text)
    assert canonical_text(snapshot) == made.snapshot_text
    issue = snapshot.pop("issue")
    assert snapshot == content
    assert issue == {
        "number": "C2026-0001",
        "issued_on": "2026-03-17",
        "issued_at": "2026-03-17 14:00 +00:00",
        "authorised_by": "Ottoline Marsh",
        "reviewed_by": "Nadia Pellworm",
        "reviewed_on": "2026-03-17",
        "authenticity_code": made.authenticity_code,
        "authenticity_url": f"http://localhost:8000/c/{made.authenticity_code}/",
        "seal_head": head,
        "program_version": "0.1.0",
        "signature": None,
    }
    assert re.fullmatch("[A-Z2-7]{26}", made.authenticity_code)
    assert CertificateItem.objects.filter(certificate=made).count() == 2
    stated = CertificateResult.objects.filter(certificate=made)
    assert {one.result for one in stated} == set(results_in_force(job))
    assert all(one.decision.result_id == one.result_id for one in stated)
    wanted = WorkItem.objects.get(kind="certificates.render")
    assert wanted.object_id == made.pk
    entry = AuditEntry.objects.get(verb="certificate.issued")
    assert entry.actor == people.signatory
    assert made.snapshot_sha256 in entry.values_text
    assert Draft.objects.get(pk=reviewed.pk).state == "issued"
    assert Job.objects.get(pk=job.pk).state == "evaluated"


def test_a_draft_is_issued_once_and_only_when_reviewed(lab, people, job) -> None:
    made = chain.draft(lab, job)
    with pytest.raises(DraftNotReviewed, match="The draft is draft"):
        chain.issue(lab, made)
    submit_draft(draft=made, acting_user=people.technician)
    with pytest.raises(DraftNotReviewed, match="The draft is in review"):
        chain.issue(lab, made)
    approve_draft(draft=made, acting_user=people.signatory)
    chain.issue(lab, made)  # the signatory may have reviewed it
    with pytest.raises(DraftNotReviewed, match="The draft is issued"):
        chain.issue(lab, made)
    assert Certificate.objects.count() == 1


def test_who_may_not_authorise_does_not_issue(lab, people, reviewed) -> None:
    with pytest.raises(NotAllowed, match="not authorised to authorise by MP-01"):
        issue_certificate(draft=reviewed, acting_user=people.quality)
    for person in (people.technician3, people.coordinator, people.administrator):
        with pytest.raises(NotAllowed):
            issue_certificate(draft=reviewed, acting_user=person)
    assert not Certificate.objects.exists()


def test_a_hold_stands_against_it_until_it_is_cleared(
    lab, people, job, reviewed
) -> None:
    hold = raise_hold(
        job=job,
        cause_key="by hand;1",
        title="Ask the customer",
        reason="The order names another drawing.",
        acting_user=people.coordinator,
    )
    refused(lab, reviewed, "On hold: Ask the customer")
    clear_hold(hold=hold, reason="They meant this one.", acting_user=people.quality)
    chain.issue(lab, reviewed)


def test_a_failed_check_recorded_a_moment_before_stops_it(lab, people, job) -> None:
    reviewed = chain.reviewed_draft(lab, job)
    chain.check(lab, chain.at(13, 50), off_um=120)
    # The pass at noon closed the session: what failed later is not about it.
    chain.issue(lab, reviewed)


def test_a_closing_check_that_fails_stops_it_before_any_worker_ran(lab, people) -> None:
    """The check is recorded, its judging still waits in the queue: issue judges."""
    chain.read_room(lab, chain.at(10))
    chain.check(lab, chain.at(8, 30))
    job = chain.evaluated_job(lab)
    closing = chain.check(lab, chain.at(12))
    reviewed = chain.reviewed_draft(lab, job)
    chain.void(lab, closing)
    chain.check(lab, chain.at(13, 50), off_um=120)
    assert not open_holds(job).exists()
    refused(lab, reviewed, "On hold: Suspect")


def test_a_break_that_leaves_the_session_unclosed_stops_it(lab, people) -> None:
    chain.read_room(lab, chain.at(10))
    chain.check(lab, chain.at(8, 30))
    job = chain.evaluated_job(lab)
    chain.check(lab, chain.at(12))
    reviewed = chain.reviewed_draft(lab, job)
    record_break(
        system=lab.system,
        kind="knock",
        at=chain.at(11, 30),
        note="Somebody ran into the tripod.",
        acting_user=people.technician,
    )
    refused(lab, reviewed, "On hold: Unclosed")


def test_an_open_session_stands_against_it(lab, people) -> None:
    chain.read_room(lab, chain.at(10))
    chain.check(lab, chain.at(8, 30))
    job = chain.evaluated_job(lab)
    closing = chain.check(lab, chain.at(12))
    reviewed = chain.reviewed_draft(lab, job)
    chain.void(lab, closing)
    refused(lab, reviewed, "still waits for the check that closes it")


def test_a_corrected_result_is_reviewed_anew(lab, people, job, reviewed) -> None:
    result = results_in_force(job)[0]
    correct_result(
        result=result,
        entry=chain.entry(result.item, result.characteristic, value_text="1000.02"),
        reason="Two points were left out.",
        acting_user=people.technician,
    )
    refused(lab, reviewed, "changed since it was reviewed")
    send_back_draft(draft=reviewed, text="Look anew.", acting_user=people.technician3)
    reviewed.refresh_from_db()
    submit_draft(draft=reviewed, acting_user=people.technician)
    approve_draft(draft=reviewed, acting_user=people.technician3)
    made = chain.issue(lab, reviewed)
    assert "1000.020" in made.snapshot_text


def test_a_corrected_reading_of_the_room_is_reviewed_anew(lab, job, reviewed) -> None:
    chain.read_room(lab, chain.at(11, 10), temperature=Quantity("21.4", "°C"))
    refused(lab, reviewed, "changed since it was reviewed")


def test_a_new_address_of_the_lab_is_reviewed_anew(lab, reviewed) -> None:
    Laboratory.objects.update(address="1 Other Quay")
    refused(lab, reviewed, "changed since it was reviewed")


def test_an_outdated_agreement_stands_against_it(lab, job, reviewed) -> None:
    chain.correct_drawing(lab)
    refused(lab, reviewed, "The drawing was recorded anew")


def test_results_of_an_earlier_review_stand_against_it(
    lab, people, job, reviewed
) -> None:
    chain.agree(lab, job, rule=lab.simple)
    refused(lab, reviewed, "decided under an earlier review")
    decide_anew(job=job, acting_user=people.technician)
    refused(lab, reviewed, "changed since it was reviewed")


def test_an_item_is_certified_once(lab, people, job, reviewed) -> None:
    made = chain.issue(lab, reviewed)
    again = chain.draft(lab, job)
    submit_draft(draft=again, acting_user=people.technician)
    sentence = f"{made.number} certifies one of these items already"
    with pytest.raises(NotIssuable, match=sentence):
        approve_draft(draft=again, acting_user=people.technician3)


def test_a_job_has_a_certificate_for_each_item(lab, job) -> None:
    first, second = job.items.all()
    one = chain.issue(lab, chain.reviewed_draft(lab, job, items=[first]))
    two = chain.issue(lab, chain.reviewed_draft(lab, job, items=[second]))
    assert (one.number, two.number) == ("C2026-0001", "C2026-0002")
    serials = [
        [item["serial"] for item in json.loads(made.snapshot_text)["items"]]
        for made in (one, two)
    ]
    assert serials == [["RR-1-700"], ["RR-1-701"]]


def test_a_refused_issue_takes_no_number(lab, people, job, reviewed) -> None:
    raise_hold(
        job=job,
        cause_key="by hand;1",
        title="Wait",
        reason="Wait for the customer.",
        acting_user=people.coordinator,
    )
    refused(lab, reviewed, "On hold")
    clear_hold(
        hold=open_holds(job).get(), reason="Answered.", acting_user=people.quality
    )
    assert chain.issue(lab, reviewed).number == "C2026-0001"


def test_a_cleared_finding_is_printed_with_how_it_was_assessed(lab, people) -> None:
    chain.read_room(lab, chain.at(10))
    chain.check(lab, chain.at(8, 30))
    job = chain.evaluated_job(lab)
    chain.check(lab, chain.at(12), off_um=120)
    made = chain.draft(lab, job)
    submit_draft(draft=made, acting_user=people.technician)
    with pytest.raises(NotIssuable, match="Suspect"):
        approve_draft(draft=made, acting_user=people.technician3)
    chain.judge(job)
    for hold in open_holds(job):
        clear_hold(
            hold=hold,
            reason="The bar was touched with a warm hand; measured again, fine.",
            acting_user=people.quality,
        )
    approve_draft(draft=made, acting_user=people.technician3)
    snapshot = json.loads(chain.issue(lab, made).snapshot_text)
    (session,) = snapshot["sessions"]
    assert session["statement"] == "Not closed by passed checks on both sides."
    assert session["findings"][0]["name"] == "suspect"
    assert "warm hand" in session["findings"][0]["assessment"]


# --- Amendment and replacement ------------------------------------------------------


def change_of(lab, job, **changes) -> Draft:
    made = start_draft(
        **{
            "job": job,
            "items": list(job.items.all()),
            "title": "measurement_report",
            "deviations": "None.",
            "change": "The length of both items was evaluated anew.",
            "acting_user": lab.people.technician,
        }
        | changes
    )
    submit_draft(draft=made, acting_user=lab.people.technician)
    return approve_draft(draft=made, acting_user=lab.people.technician3)


def test_an_amendment_is_a_further_document_tied_by_number(lab, job, reviewed) -> None:
    old = chain.issue(lab, reviewed)
    for result in results_in_force(job).filter(characteristic__number="1"):
        correct_result(
            result=result,
            entry=ResultEntry.of(result),
            reason="Evaluated anew.",
            acting_user=lab.people.technician,
        )
    made = chain.issue(lab, change_of(lab, job, amends=old))
    assert (made.number, made.amends) == ("C2026-0002", old)
    change = json.loads(made.snapshot_text)["change"]
    assert change == {
        "kind": "amendment",
        "number": "C2026-0001",
        "issued_on": "2026-03-17",
        "text": "The length of both items was evaluated anew.",
        "statement": "Amendment to C2026-0001 of 2026-03-17. It is a further document: "
        "what it does not change stays as it is there.",
    }
    assert Certificate.objects.get(pk=old.pk).snapshot_text == old.snapshot_text


def test_a_replacement_names_what_it_replaces_and_does_so_once(
    lab, job, reviewed
) -> None:
    old = chain.issue(lab, reviewed)
    made = chain.issue(lab, change_of(lab, job, replaces=old))
    assert made.replaces == old
    assert "This document replaces C2026-0001" in made.snapshot_text
    with pytest.raises(WrongState, match="C2026-0001 is replaced already"):
        change_of(lab, job, replaces=old)
    with pytest.raises(WrongState, match="is about one of these items already"):
        change_of(lab, job, amends=made)
    abandon_draft(draft=job.drafts.first(), acting_user=lab.people.technician)
    change_of(lab, job, amends=made)


def test_a_change_says_what_it_changes(lab, people, job, reviewed) -> None:
    old = chain.issue(lab, reviewed)
    other, _ = chain.measured_job(lab)
    with pytest.raises(NotAcceptable, match="is of another job"):
        chain.draft(lab, other, amends=old, change="All.")
    for text in ("", "tbd"):
        with pytest.raises(NotAcceptable) as refusal:
            change_of(lab, job, amends=old, change=text)
        assert refusal.value.field == "change"


def test_results_before_an_adjustment_stand_beside_those_after(
    lab, people, job
) -> None:
    """The arm was bent back between two sessions; both sets are stated (R25)."""
    with clock.set_to(chain.at(12, 30)):
        again = chain.start(lab, job)
    with clock.set_to(chain.at(13)):
        end_session(session=again, at=chain.at(13), acting_user=people.technician)
    chain.read_room(lab, chain.at(12, 45))
    chain.check(lab, chain.at(13, 30))
    for result in results_in_force(job).filter(characteristic__number="1"):
        correct_result(
            result=result,
            entry=chain.entry(result.item, result.characteristic, value_text="1000.05"),
            session=again,
            reason="Measured after the adjustment.",
            acting_user=people.technician,
        )
    move_job(job=job, to="evaluated", acting_user=people.technician)
    made = chain.issue(
        lab, chain.reviewed_draft(lab, job, adjustment="The arm was bent back.")
    )
    snapshot = json.loads(made.snapshot_text)
    row = snapshot["results"][0]["rows"][0]
    assert (row["before"]["value"], row["value"]) == ("1000.012", "1000.050")
    assert (row["before"]["session"], row["session"]) == ("1", "2")
    assert snapshot["results"][0]["rows"][1]["before"] is None
    assert len(snapshot["sessions"]) == 2
