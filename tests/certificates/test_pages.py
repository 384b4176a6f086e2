"""Drafts and certificates through the pages, by everybody's role."""

from __future__ import annotations

import pytest
from django.test import Client
from django.urls import reverse
from django_otp.oath import totp
from django_otp.plugins.otp_totp.models import TOTPDevice

from lab.certificates.documents.rendering import render_certificate
from lab.certificates.models import Certificate, Document, Draft, Withdrawal
from lab.certificates.services import submit_draft
from lab.common import clock
from lab.common.models import AuditEntry
from lab.inspections.services import correct_result
from lab.jobs.services import raise_hold
from lab.metrology.units import Quantity
from tests import chain

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _afternoon():
    with clock.set_to(chain.at(14)):
        yield


@pytest.fixture
def as_(sign_in, people):
    return lambda part: sign_in(Client(), getattr(people, part))


def page(name: str, key) -> str:
    return reverse(f"certificates:{name}", args=[key])


def typed(job, **changes) -> dict[str, object]:
    return {
        "items": [item.pk for item in job.items.all()],
        "title": "measurement_report",
        "deviations": "None.",
    } | changes


def identity(person, password: str) -> dict[str, str]:
    device = TOTPDevice.objects.get(user=person)
    # The clock stands in March; codes go by the machine's own time.
    return {"password": password, "code": f"{totp(device.bin_key):06d}"}


def test_from_draft_to_document_through_the_pages(lab, people, job, as_) -> None:
    technician, reviewer = as_("technician"), as_("technician3")
    chain.judge(job)  # as the worker does within a second
    start = page("start", job.number)
    assert technician.get(start).status_code == 200
    answer = technician.post(start, typed(job))
    draft = Draft.objects.get()
    assert answer.url == page("draft", draft.pk)
    shown = technician.get(answer.url).content.decode()
    assert "1000.012 mm" in shown
    assert "Submit for review" in shown
    assert technician.post(start, typed(job)).status_code == 400

    assert technician.post(page("submit", draft.pk)).status_code == 302
    assert technician.post(page("submit", draft.pk)).status_code == 409
    own = technician.get(page("draft", draft.pk)).content.decode()
    assert "You measured, evaluated or entered" in own
    assert "Approve as it reads here" not in own
    assert technician.post(page("approve", draft.pk)).status_code == 403

    assert (
        "Approve as it reads here"
        in reviewer.get(page("draft", draft.pk)).content.decode()
    )
    assert reviewer.post(page("approve", draft.pk)).status_code == 302
    assert reviewer.post(page("approve", draft.pk)).status_code == 409
    assert reviewer.get(page("issue", draft.pk)).status_code == 403

    signatory = as_("signatory")
    assert signatory.get(page("issue", draft.pk)).status_code == 200
    fields = identity(people.signatory, people.password)
    wrong = signatory.post(page("issue", draft.pk), fields | {"password": "guess"})
    assert wrong.status_code == 400
    assert not Certificate.objects.exists()
    answer = signatory.post(page("issue", draft.pk), fields)
    assert answer.status_code == 302, answer.content.decode()
    made = Certificate.objects.get()
    assert answer.url == page("detail", made.number)
    assert signatory.post(page("issue", draft.pk), fields).status_code == 409
    assert Certificate.objects.count() == 1

    waiting = signatory.get(answer.url).content.decode()
    assert "is being drawn" in waiting
    assert signatory.get(page("document", made.number)).status_code == 404
    render_certificate(made.pk)
    assert "Download the document" in signatory.get(answer.url).content.decode()
    document = as_("coordinator").get(page("document", made.number))
    assert document["Content-Type"] == "application/pdf"
    assert document["Content-Disposition"] == 'attachment; filename="C2026-0001.pdf"'
    assert b"".join(document.streaming_content).startswith(b"%PDF-")
    assert technician.get(page("draft", draft.pk)).url == answer.url


def test_what_stands_against_it_is_shown_and_asks_for_no_code(
    lab, people, job, as_
) -> None:
    draft = chain.reviewed_draft(lab, job)
    raise_hold(
        job=job,
        cause_key="by hand;1",
        title="Ask the customer",
        reason="The order names another drawing.",
        acting_user=people.coordinator,
    )
    signatory = as_("signatory")
    shown = signatory.get(page("draft", draft.pk)).content.decode()
    assert "On hold: Ask the customer" in shown
    assert f'href="{page("issue", draft.pk)}"' not in shown
    asked = signatory.get(page("issue", draft.pk))
    assert "On hold: Ask the customer" in asked.content.decode()
    assert 'name="code"' not in asked.content.decode()
    fields = identity(people.signatory, people.password)
    refused = signatory.post(page("issue", draft.pk), fields)
    assert refused.status_code == 409
    assert not Certificate.objects.exists()


def test_a_change_since_the_review_is_shown(lab, job, as_) -> None:
    draft = chain.reviewed_draft(lab, job)
    chain.read_room(lab, chain.at(11, 30), temperature=Quantity("21", "°C"))
    shown = as_("signatory").get(page("draft", draft.pk)).content.decode()
    assert "has changed since it was reviewed" in shown


def test_what_it_lacks_is_shown(lab, people, as_) -> None:
    job = chain.evaluated_job(lab)
    draft = chain.draft(lab, job)
    shown = as_("technician").get(page("draft", draft.pk)).content.decode()
    assert "It lacks the conditions in the room while it was measured (R23)." in shown
    assert f"Session {job.sessions.get().pk} has not been judged yet." in shown


def test_a_draft_is_changed_sent_back_remarked_on_and_abandoned(
    lab, people, job, as_
) -> None:
    draft = chain.draft(lab, job)
    technician, reviewer = as_("technician"), as_("technician3")
    change = page("change", draft.pk)
    assert "None." in technician.get(change).content.decode()
    bad = technician.post(change, typed(job, deviations="tbd"))
    assert bad.status_code == 400
    assert "only holds the place" in bad.content.decode()
    good = typed(job, deviations="Station 3 was left out.")
    assert technician.post(change, good).status_code == 302
    remark = page("remark", draft.pk)
    assert reviewer.post(remark, {"text": ""}).status_code == 400
    assert reviewer.post(remark, {"text": "Why was it left out?"}).status_code == 302
    technician.post(page("submit", draft.pk))
    back = page("send-back", draft.pk)
    assert reviewer.get(back).status_code == 200
    assert reviewer.post(back, {"text": "Say why."}).status_code == 302
    shown = technician.get(page("draft", draft.pk)).content.decode()
    assert "Say why." in shown
    assert "Why was it left out?" in shown
    assert technician.post(page("abandon", draft.pk)).status_code == 302
    assert technician.post(page("abandon", draft.pk)).status_code == 409
    assert "Abandoned" in technician.get(page("draft", draft.pk)).content.decode()


@pytest.mark.parametrize("name", ["submit", "abandon", "approve"])
def test_what_acts_is_not_done_by_looking(lab, job, as_, name: str) -> None:
    draft = chain.draft(lab, job)
    entries = AuditEntry.objects.count()
    assert as_("signatory").get(page(name, draft.pk)).status_code == 405
    assert AuditEntry.objects.count() == entries


def test_who_may_open_what(lab, people, job, as_) -> None:
    draft = chain.draft(lab, job)
    submit_draft(draft=draft, acting_user=people.technician)
    reader = as_("coordinator")
    assert reader.get(page("draft", draft.pk)).status_code == 200
    assert reader.get(reverse("certificates:list")).status_code == 200
    for name in ("change", "submit", "abandon", "approve", "send-back", "issue"):
        assert reader.post(page(name, draft.pk)).status_code == 403
    assert reader.get(page("start", job.number)).status_code == 403
    client = as_("client")
    assert client.get(page("draft", draft.pk)).status_code == 403
    assert client.get(reverse("certificates:list")).status_code == 403
    assert Client().get(page("draft", draft.pk)).status_code == 302
    signatory = as_("signatory")
    assert signatory.get(page("draft", 9999)).status_code == 404
    assert signatory.get(page("detail", "C1999-0001")).status_code == 404
    assert signatory.get(page("start", "J1999-0001")).status_code == 404


def test_a_certificate_is_sent_and_withdrawn(lab, people, as_) -> None:
    made = chain.certificate(lab)
    coordinator = as_("coordinator")
    send = page("send", made.number)
    assert "mabel@ravelin.example" in coordinator.get(send).content.decode()
    fields = {"sent_to": "Mabel Orrin", "how": "E-mail", "at": "2026-03-17T14:00"}
    assert coordinator.post(send, fields | {"how": ""}).status_code == 400
    late = coordinator.post(send, fields | {"at": "2026-03-18T14:00"})
    assert late.status_code == 400
    assert "in the future" in late.content.decode()
    assert coordinator.post(send, fields).status_code == 302
    shown = coordinator.get(page("detail", made.number)).content.decode()
    assert "Mabel Orrin, E-mail" in shown
    assert "Withdraw" not in shown

    withdraw = page("withdraw", made.number)
    assert coordinator.get(withdraw).status_code == 403
    signatory = as_("signatory")
    fields = identity(people.signatory, people.password)
    empty = signatory.post(withdraw, fields | {"reason": ""})
    assert empty.status_code == 400
    no_code = signatory.post(withdraw, {"reason": "Wrong part.", "password": "x"})
    assert no_code.status_code == 400
    assert not Withdrawal.objects.exists()
    gone = signatory.post(withdraw, fields | {"reason": "The wrong part was measured."})
    assert gone.status_code == 302, gone.content.decode()
    shown = signatory.get(page("detail", made.number)).content.decode()
    assert "The wrong part was measured." in shown
    assert coordinator.post(send, {"sent_to": "M", "how": "E-mail"}).status_code == 400


def test_an_amendment_begins_with_what_it_amends(lab, people, job, as_) -> None:
    old = chain.issue(lab, chain.reviewed_draft(lab, job, deviations="Station 3 left."))
    technician = as_("technician")
    address = f"{page('start', job.number)}?amends={old.number}"
    shown = technician.get(address).content.decode()
    assert "Station 3 left." in shown
    assert 'name="change"' in shown
    assert technician.post(address, typed(job)).status_code == 400
    answer = technician.post(address, typed(job, change="The address of the customer."))
    assert answer.status_code == 302
    draft = Draft.objects.get(amends=old)
    preview = technician.get(page("draft", draft.pk)).content.decode()
    assert f"Amendment to {old.number}" in preview
    unknown = f"{page('start', job.number)}?replaces=C1999-0001"
    assert technician.get(unknown).status_code == 404


def test_a_certificate_says_that_a_result_on_it_changed(lab, people, job, as_) -> None:
    made = chain.issue(lab, chain.reviewed_draft(lab, job))
    result = made.certified_results.first().result
    correct_result(
        result=result,
        entry=chain.entry(result.item, result.characteristic, value_text="1000.02"),
        reason="Two points were left out.",
        acting_user=people.technician,
    )
    shown = as_("quality").get(page("detail", made.number)).content.decode()
    assert "1 result on it was corrected since" in shown


def test_the_list_finds_certificates(lab, job, as_) -> None:
    made = chain.issue(lab, chain.reviewed_draft(lab, job))
    reader = as_("coordinator")
    for said in (made.number, job.number, "Ravelin", "RR-1", "RR-1-701"):
        found = reader.get(reverse("certificates:list"), {"q": said})
        assert made.number in found.content.decode()
    nothing = reader.get(reverse("certificates:list"), {"q": "Tern"})
    assert "No certificate is like that" in nothing.content.decode()


def test_the_list_asks_as_little_for_two_as_for_one(
    lab, job, as_, django_assert_num_queries
) -> None:
    first, second = job.items.all()
    reader, address = as_("coordinator"), reverse("certificates:list")
    chain.issue(lab, chain.reviewed_draft(lab, job, items=[first]))
    with django_assert_num_queries(LIST_QUERIES):
        reader.get(address)
    chain.issue(lab, chain.reviewed_draft(lab, job, items=[second]))
    with django_assert_num_queries(LIST_QUERIES):
        reader.get(address)


LIST_QUERIES = 7


def test_the_job_s_page_shows_its_papers(lab, people, job, as_) -> None:
    technician = as_("technician")
    address = reverse("board:job", args=[job.number])
    assert page("start", job.number) in technician.get(address).content.decode()
    reviewed = chain.reviewed_draft(lab, job)
    assert page("draft", reviewed.pk) in technician.get(address).content.decode()
    made = chain.issue(lab, reviewed)
    assert page("detail", made.number) in technician.get(address).content.decode()


def test_the_document_is_drawn_once(lab) -> None:
    made = chain.certificate(lab)
    render_certificate(made.pk)
    first = Document.objects.get(certificate=made)
    render_certificate(made.pk)
    assert Document.objects.get(certificate=made) == first
