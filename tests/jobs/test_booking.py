"""Booking and contract review: what is taken, what is refused, what is kept."""

from __future__ import annotations

from datetime import date

import pytest
from django.test import Client
from django.urls import reverse

from lab.common import clock
from lab.common.actors import PROGRAM
from lab.common.errors import NotAcceptable, WrongState
from lab.common.models import AuditEntry
from lab.customers.services import add_contact, add_customer
from lab.jobs.access import jobs_for
from lab.jobs.models import Job
from lab.jobs.selectors import agreement_in_force, agreement_is_outdated
from lab.jobs.services import cancel_job
from lab.laboratory.ruling import Ruling
from lab.laboratory.services import offer_decision_rule
from lab.metrology.units import Quantity
from lab.parts.entries import CharacteristicEntry
from lab.parts.services import record_revision
from tests.chain import agree, book
from tests.jobs.conftest import NOON

pytestmark = pytest.mark.django_db


def test_a_job_gets_a_number_and_its_items(lab, people) -> None:
    with clock.set_to(NOON):
        job = book(lab)
        second = book(lab, order_number="PO 4101")
    assert (job.number, second.number) == ("J2026-0001", "J2026-0002")
    assert [item.serial for item in job.items.all()] == ["RR-1-700", "RR-1-701"]
    entry = AuditEntry.objects.filter(verb="job.booked").first()
    assert entry.actor == people.coordinator


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"serials": []}, "at least one item"),
        ({"serials": ["A", "A"]}, "twice"),
        ({"serials": ["tbd"]}, "only holds the place"),
        ({"order_number": "-"}, "only holds the place"),
    ],
)
def test_a_job_without_sense_is_refused(lab, people, change, message) -> None:
    with pytest.raises(NotAcceptable, match=message):
        book(lab, **change)
    assert not Job.objects.exists()


def test_another_customer_s_contact_or_part_is_refused(lab, people) -> None:
    tern = add_customer(name="Tern Tidal", address="Dock 9", acting_user=PROGRAM)
    corwin = add_contact(
        customer=tern, name="Corwin", email="c@tern.example", acting_user=PROGRAM
    )
    with pytest.raises(NotAcceptable, match="no contact of"):
        book(lab, contact=corwin)
    with pytest.raises(NotAcceptable, match="no part of"):
        book(lab, customer=tern, contact=corwin)


def test_a_contract_review_pins_and_a_later_one_takes_over(lab, people) -> None:
    with clock.set_to(NOON):
        job = book(lab)
        first = agree(lab, job)
        second = agree(lab, job, rule=None)
    assert (first.number, second.number) == (1, 2)
    assert agreement_in_force(job) == second
    assert not second.states_conformity


def test_a_rule_that_could_accept_nothing_is_refused(lab, people) -> None:
    # The method's CMC at 1000 mm is 30 µm; a tolerance of ±0.02 mm leaves nothing.
    narrow = CharacteristicEntry(
        "1", "length", "Eye to eye", "mm", "1000", "-0.02", "0.02"
    )
    with clock.set_to(NOON):
        tight = record_revision(
            part=lab.revision.part,
            revision="C",
            material="Steel",
            expansion=Quantity("11.5", "µm/(m·K)"),
            expansion_u=Quantity("0.6", "µm/(m·K)"),
            characteristics=[narrow],
            acting_user=people.coordinator,
        )
        job = book(lab, part_revision=tight)
        with pytest.raises(NotAcceptable, match="no value could be accepted") as found:
            agree(lab, job, part_revision=tight)
    assert found.value.field == "rule"


def test_a_rule_by_iso_14253_1_asks_who_must_prove_what(lab, people) -> None:
    proven = offer_decision_rule(
        name="Proof",
        ruling=Ruling(kind="iso_14253_1", probability_percent="95"),
        risk="Some results prove neither.",
        acting_user=people.quality,
    )
    with clock.set_to(NOON):
        job = book(lab)
        with pytest.raises(NotAcceptable) as refusal:
            agree(lab, job, rule=proven)
        assert refusal.value.field == "burden"
        made = agree(lab, job, rule=proven, burden="conformity")
    assert made.burden == "conformity"


def test_an_agreement_in_the_future_is_refused(lab, people) -> None:
    with clock.set_to(NOON):
        job = book(lab)
        with pytest.raises(NotAcceptable, match="future"):
            agree(lab, job, agreed_on=date(2026, 3, 18))


def test_a_corrected_drawing_outdates_the_agreement(lab, people) -> None:
    with clock.set_to(NOON):
        job = book(lab)
        made = agree(lab, job)
        assert not agreement_is_outdated(job, made)
        record_revision(
            part=lab.revision.part,
            revision="B",
            supersedes=lab.revision,
            material="Steel",
            expansion=Quantity("11.5", "µm/(m·K)"),
            expansion_u=Quantity("0.6", "µm/(m·K)"),
            characteristics=[
                CharacteristicEntry(
                    "1", "length", "Eye to eye", "mm", "1000", "-0.2", "0.2"
                )
            ],
            acting_user=people.coordinator,
        )
    assert agreement_is_outdated(job, made)


def test_cancelling_needs_a_reason_and_a_job_not_begun(lab, people) -> None:
    job = book(lab)
    with pytest.raises(NotAcceptable):
        cancel_job(job=job, reason="", acting_user=people.coordinator)
    cancel_job(job=job, reason="Not needed any more.", acting_user=people.coordinator)
    with pytest.raises(WrongState, match="can't become"):
        cancel_job(job=job, reason="Again.", acting_user=people.coordinator)


def test_a_job_is_booked_and_agreed_through_the_pages(lab, people, sign_in) -> None:
    client = sign_in(Client(), people.technician)
    start = client.get(reverse("jobs:book"))
    assert "customer" in start.content.decode()
    target = f"{reverse('jobs:book')}?customer={lab.customer.pk}"
    typed = {
        "contact": lab.contact.pk,
        "order_number": "PO 9",
        "part_revision": lab.revision.pk,
        "serials": "A-1\nA-2\n",
        "room": lab.room.pk,
        "unit": "mm",
        "wanted_on": "2026-04-01",
    }
    answer = client.post(target, typed)
    job = Job.objects.get()
    assert answer["Location"] == reverse("jobs:agree", args=[job.number])
    assert job.items.count() == 2
    agreed = client.post(
        answer["Location"],
        {
            "asked": "Everything.",
            "part_revision": lab.revision.pk,
            "method": lab.method.pk,
            "rule": lab.guarded.pk,
            "agreed_with": lab.contact.pk,
            "agreed_on": "2026-03-17",
        },
    )
    assert agreed.status_code == 302
    assert agreement_in_force(job).reviewed_by == people.technician
    wrong = client.post(target, typed | {"serials": "A-1\nA-1"})
    assert wrong.status_code == 400
    assert "twice" in str(wrong.context["form"].errors["serials"])


def test_who_sees_and_does_what(lab, people, sign_in) -> None:
    book(lab)
    assert jobs_for(people.technician).count() == 1
    assert jobs_for(people.client).count() == 0
    client = sign_in(Client(), people.client)
    assert client.get(reverse("jobs:list")).status_code == 403
    admin = sign_in(Client(), people.administrator)
    assert admin.get(reverse("jobs:list")).status_code == 200
    assert admin.get(reverse("jobs:book")).status_code == 403
    coordinator = sign_in(Client(), people.coordinator)
    assert coordinator.get("/jobs/J1999-0001/agree/").status_code == 404
    assert Client().get(reverse("jobs:list")).status_code == 302


def test_the_list_finds_by_what_people_have_at_hand(lab, people, sign_in) -> None:
    job = book(lab)
    client = sign_in(Client(), people.coordinator)
    for said in ("RR-1-701", "PO 4100", "ravelin", job.number, "RR-1"):
        found = client.get(reverse("jobs:list"), {"q": said}).context["page"].rows
        assert list(found) == [job]
    none = client.get(reverse("jobs:list"), {"q": "xyzzy"})
    assert "No job is like that" in none.content.decode()
