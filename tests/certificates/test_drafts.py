"""Drafts: who starts them, what they say, how they go to review and back."""

from __future__ import annotations

import pytest

from lab.certificates.models import Draft, DraftRemark
from lab.certificates.services import (
    abandon_draft,
    add_remark,
    approve_draft,
    change_draft,
    send_back_draft,
    submit_draft,
)
from lab.certificates.snapshot import content_of, content_sha256
from lab.common import clock
from lab.common.errors import NotAcceptable, NotAllowed, WrongState
from lab.common.models import AuditEntry
from lab.inspections.services import finish_evaluation
from lab.jobs.models import Job
from lab.jobs.services import raise_hold, return_item
from tests import chain

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _afternoon():
    with clock.set_to(chain.at(14)):
        yield


def change(lab, draft: Draft, **changes) -> Draft:
    return change_draft(
        **{
            "draft": draft,
            "items": list(draft.items.all()),
            "title": draft.title,
            "deviations": draft.deviations,
            "acting_user": lab.people.technician,
        }
        | changes
    )


def state_of(job: Job) -> str:
    return Job.objects.get(pk=job.pk).state


def test_a_draft_is_started_and_audited(lab, people, job) -> None:
    made = chain.draft(lab, job)
    assert made.state == "draft"
    assert made.prepared_by == people.technician
    entry = AuditEntry.objects.get(verb="draft.started")
    assert "RR-1-700" in entry.values_text
    assert state_of(job) == "evaluated"


@pytest.mark.parametrize(
    ("changes", "field", "sentence"),
    [
        ({"items": []}, "items", "which items"),
        ({"title": "poem"}, "title", "what kind of document"),
        ({"deviations": ""}, "deviations", "empty"),
        ({"deviations": "n/a"}, "deviations", "holds the place"),
        ({"opinion": "tbd"}, "opinion", "holds the place"),
        ({"adjustment": "..."}, "adjustment", "holds the place"),
        ({"change": "The results."}, "change", "Only an amendment"),
    ],
)
def test_what_a_draft_can_not_say(lab, job, changes, field: str, sentence: str) -> None:
    with pytest.raises(NotAcceptable, match=sentence) as refusal:
        chain.draft(lab, job, **changes)
    assert refusal.value.field == field
    assert not Draft.objects.exists()


def test_nothing_measured_is_nothing_to_certify(lab) -> None:
    with pytest.raises(WrongState, match="nothing to certify"):
        chain.draft(lab, chain.ready_job(lab))


def test_items_of_another_job_are_refused(lab, job) -> None:
    other = chain.ready_job(lab)
    with pytest.raises(NotAcceptable, match="of another job"):
        chain.draft(lab, job, items=list(other.items.all()))


def test_an_item_is_in_one_draft_at_a_time(lab, people, job) -> None:
    first, second = job.items.all()
    made = chain.draft(lab, job, items=[first])
    with pytest.raises(WrongState, match=f"Draft {made.pk} is about"):
        chain.draft(lab, job)
    other = chain.draft(lab, job, items=[second])
    with pytest.raises(WrongState, match="Another draft"):
        change(lab, other, items=[first, second])
    abandon_draft(draft=made, acting_user=people.technician)
    change(lab, other, items=[first, second])
    assert set(other.items.all()) == {first, second}


def test_roles_and_who_may_not_draft(lab, people, job) -> None:
    with pytest.raises(NotAllowed):
        chain.draft(lab, job, acting_user=people.coordinator)


def test_a_draft_changes_until_it_is_submitted(lab, people, job) -> None:
    made = chain.draft(lab, job)
    change(lab, made, deviations="Station 3 was left out.")
    entry = AuditEntry.objects.get(verb="draft.changed")
    assert '"deviations":"None."' in entry.values_text
    assert "Station 3 was left out." in entry.values_text
    made.refresh_from_db()
    change(lab, made)
    assert AuditEntry.objects.filter(verb="draft.changed").count() == 1
    submit_draft(draft=made, acting_user=people.technician)
    with pytest.raises(WrongState, match="sent back before"):
        change(lab, made, deviations="More.")


def test_a_job_is_in_review_with_its_draft(lab, people, job) -> None:
    made = chain.draft(lab, job)
    submit_draft(draft=made, acting_user=people.technician)
    assert state_of(job) == "in review"
    with pytest.raises(WrongState, match="can't become in review"):
        submit_draft(draft=made, acting_user=people.technician)
    send_back_draft(
        draft=made, text="The condition is vague.", acting_user=people.technician3
    )
    assert state_of(job) == "evaluated"
    assert DraftRemark.objects.get().text == "The condition is vague."
    made.refresh_from_db()
    submit_draft(draft=made, acting_user=people.technician)
    abandon_draft(draft=made, acting_user=people.technician)
    assert state_of(job) == "evaluated"
    with pytest.raises(WrongState):
        submit_draft(draft=made, acting_user=people.technician)


def test_a_job_stays_in_review_while_another_draft_is(lab, people, job) -> None:
    first, second = (chain.draft(lab, job, items=[item]) for item in job.items.all())
    submit_draft(draft=first, acting_user=people.technician)
    submit_draft(draft=second, acting_user=people.technician)
    abandon_draft(draft=first, acting_user=people.technician)
    assert state_of(job) == "in review"
    abandon_draft(draft=second, acting_user=people.technician)
    assert state_of(job) == "evaluated"


def test_an_unfinished_evaluation_is_not_submitted(lab, people) -> None:
    job, _ = chain.measured_job(lab)
    made = chain.draft(lab, job)
    with pytest.raises(WrongState, match="is not finished"):
        submit_draft(draft=made, acting_user=people.technician)


def test_a_returned_job_can_still_be_certified(lab, people, job) -> None:
    for item in job.items.all():
        return_item(
            item=item,
            at=clock.now(),
            condition="Cleaned.",
            handed_to="Carrier",
            acting_user=people.coordinator,
        )
    chain.issue(lab, chain.reviewed_draft(lab, job))
    assert state_of(job) == "returned"


def test_sending_back_needs_words(lab, people, job) -> None:
    made = chain.draft(lab, job)
    submit_draft(draft=made, acting_user=people.technician)
    with pytest.raises(NotAcceptable) as refusal:
        send_back_draft(draft=made, text=" ", acting_user=people.technician3)
    assert refusal.value.field == "text"


def test_remarks_are_kept_beside_a_draft(lab, people, job) -> None:
    made = chain.draft(lab, job)
    add_remark(draft=made, text="Look at item 700.", acting_user=people.coordinator)
    assert [one.text for one in made.remarks.all()] == ["Look at item 700."]
    assert "item 700" not in str(content_of(made))


# --- Review ---------------------------------------------------------------------------


@pytest.fixture
def submitted(lab, people, job) -> Draft:
    made = chain.draft(lab, job)
    return submit_draft(draft=made, acting_user=people.technician)


def test_an_approval_is_for_the_content_as_it_reads(lab, people, submitted) -> None:
    made = approve_draft(draft=submitted, acting_user=people.technician3)
    assert made.state == "reviewed"
    assert made.reviewed_by == people.technician3
    assert made.reviewed_at == clock.now()
    assert made.reviewed_content_sha256 == content_sha256(content_of(made))
    with pytest.raises(WrongState, match="not in review"):
        approve_draft(draft=made, acting_user=people.technician3)


def test_sending_back_voids_the_approval(lab, people, submitted) -> None:
    made = approve_draft(draft=submitted, acting_user=people.technician3)
    send_back_draft(draft=made, text="Wait.", acting_user=people.technician3)
    made.refresh_from_db()
    assert (made.state, made.reviewed_by, made.reviewed_content_sha256) == (
        "draft",
        None,
        "",
    )


def test_who_did_the_work_does_not_review_it(lab, people, submitted) -> None:
    # The technician measured, evaluated and entered, and is authorised to review.
    with pytest.raises(NotAllowed, match="You measured, evaluated or entered"):
        approve_draft(draft=submitted, acting_user=people.technician)
    with pytest.raises(NotAllowed, match="not authorised to review by MP-01"):
        approve_draft(draft=submitted, acting_user=people.technician2)
    with pytest.raises(NotAllowed):
        approve_draft(draft=submitted, acting_user=people.coordinator)
    assert Draft.objects.get().state == "in review"


def test_who_only_entered_results_does_not_review_them(lab, people) -> None:
    chain.read_room(lab, chain.at(10))
    chain.check(lab, chain.at(8, 30))
    job, session = chain.measured_job(lab)
    chain.record(lab, job, session, acting_user=people.signatory)
    chain.check(lab, chain.at(12))
    finish_evaluation(job=job, acting_user=people.technician)
    made = chain.draft(lab, Job.objects.get(pk=job.pk))
    submit_draft(draft=made, acting_user=people.technician)
    with pytest.raises(NotAllowed, match="You measured, evaluated or entered"):
        approve_draft(draft=made, acting_user=people.signatory)


def test_what_stands_against_issue_stands_against_approval(
    lab, people, job, submitted
) -> None:
    raise_hold(
        job=job,
        cause_key="by hand;1",
        title="Ask the customer",
        reason="The order names another drawing.",
        acting_user=people.coordinator,
    )
    with pytest.raises(WrongState, match="On hold: Ask the customer"):
        approve_draft(draft=submitted, acting_user=people.technician3)


def test_a_session_that_waits_for_its_closing_check_is_not_approved(
    lab, people
) -> None:
    chain.read_room(lab, chain.at(10))
    chain.check(lab, chain.at(8, 30))
    job = chain.evaluated_job(lab)
    made = chain.draft(lab, job)
    submit_draft(draft=made, acting_user=people.technician)
    with pytest.raises(WrongState, match="still waits for the check that closes it"):
        approve_draft(draft=made, acting_user=people.technician3)
    chain.check(lab, chain.at(13, 50))
    approve_draft(draft=made, acting_user=people.technician3)


def test_an_unread_room_is_not_approved(lab, people) -> None:
    chain.check(lab, chain.at(8, 30))
    job = chain.evaluated_job(lab)
    chain.check(lab, chain.at(12))
    made = chain.draft(lab, job)
    submit_draft(draft=made, acting_user=people.technician)
    with pytest.raises(WrongState, match=r"the conditions in the room .*\(R23\)"):
        approve_draft(draft=made, acting_user=people.technician3)
