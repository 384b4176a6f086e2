"""Customers and contacts: written through pages, audited, closed to outsiders."""

from __future__ import annotations

import pytest
from django.test import Client
from django.urls import reverse

from lab.common.actors import PROGRAM
from lab.common.errors import NotAcceptable, WrongState
from lab.common.models import AuditEntry
from lab.customers.access import customer_of, customers_for
from lab.customers.models import Contact, Customer
from lab.customers.services import (
    add_contact,
    add_customer,
    change_contact,
    invite_contact,
)

pytestmark = pytest.mark.django_db
TYPED = {"name": "Ravelin Ropeways", "address": "4 Winch Lane\nPort Ennis"}


@pytest.fixture
def ravelin() -> Customer:
    return add_customer(**TYPED, acting_user=PROGRAM)


@pytest.fixture
def mabel(ravelin: Customer) -> Contact:
    return add_contact(
        customer=ravelin,
        name="Mabel Orrin",
        email="mabel@ravelin.example",
        acting_user=PROGRAM,
    )


def test_a_customer_is_added_once_and_audited(people, sign_in) -> None:
    client = sign_in(Client(), people.coordinator)
    answer = client.post(reverse("customers:add"), TYPED)
    made = Customer.objects.get()
    assert answer.status_code == 302
    assert answer["Location"] == reverse("customers:detail", args=[made.pk])
    entry = AuditEntry.objects.get(verb="customer.added")
    assert entry.actor == people.coordinator
    again = client.post(reverse("customers:add"), TYPED | {"name": "ravelin ropeways"})
    assert again.status_code == 400
    assert "already" in again.content.decode()
    assert Customer.objects.count() == 1


@pytest.mark.parametrize(
    ("field", "typed"),
    [("name", "tbd"), ("name", "-"), ("address", "n/a"), ("address", "a\n" * 9)],
)
def test_a_placeholder_is_refused_beside_its_field(
    people, sign_in, field: str, typed: str
) -> None:
    client = sign_in(Client(), people.coordinator)
    answer = client.post(reverse("customers:add"), TYPED | {field: typed})
    assert answer.status_code == 400
    assert answer.context["form"].errors[field]
    assert not Customer.objects.exists()


def test_a_change_keeps_the_old_value_in_the_record(people, sign_in, ravelin) -> None:
    client = sign_in(Client(), people.coordinator)
    page = reverse("customers:change", args=[ravelin.pk])
    client.post(page, TYPED | {"name": "Ravelin Cableways", "in_use": "on"})
    entry = AuditEntry.objects.get(verb="customer.changed")
    assert entry.values_text == (
        '{"after":{"name":"Ravelin Cableways"},"before":{"name":"Ravelin Ropeways"}}'
    )
    client.post(page, TYPED | {"name": "Ravelin Cableways", "in_use": "on"})
    assert AuditEntry.objects.filter(verb="customer.changed").count() == 1


def test_a_contact_is_invited_once_and_then_sees_only_their_own(
    people, sign_in, ravelin, mabel
) -> None:
    add_customer(name="Tern Tidal", address="Slipway 2", acting_user=PROGRAM)
    client = sign_in(Client(), people.coordinator)
    page = reverse("customers:invite", args=[mabel.pk])
    assert client.post(page).status_code == 302
    mabel.refresh_from_db()
    assert customer_of(mabel.user) == ravelin
    assert list(customers_for(mabel.user)) == [ravelin]
    assert customers_for(people.coordinator).count() == 2
    assert client.post(page).status_code == 409
    assert AuditEntry.objects.get(verb="contact.invited").actor == people.coordinator


def test_an_address_that_signs_somebody_in_is_no_client_s(people, ravelin) -> None:
    contact = add_contact(
        customer=ravelin,
        name="Somebody",
        email=people.technician.email,
        acting_user=PROGRAM,
    )
    with pytest.raises(NotAcceptable):
        invite_contact(contact=contact, acting_user=people.coordinator)
    assert Contact.objects.get(pk=contact.pk).user is None


def test_a_contact_out_of_use_signs_in_no_more(people, mabel) -> None:
    invite_contact(contact=mabel, acting_user=people.coordinator)
    change_contact(
        contact=mabel,
        name=mabel.name,
        email=mabel.email,
        in_use=False,
        acting_user=people.coordinator,
    )
    mabel.refresh_from_db()
    assert not mabel.user.is_active
    with pytest.raises(WrongState):
        invite_contact(contact=mabel, acting_user=people.coordinator)


@pytest.mark.parametrize("form", ["add", "change", "add-contact"])
def test_a_technician_reads_and_does_not_write(
    people, sign_in, ravelin, form: str
) -> None:
    client = sign_in(Client(), people.technician)
    assert client.get(reverse("customers:list")).status_code == 200
    detail = client.get(reverse("customers:detail", args=[ravelin.pk]))
    assert "Change" not in detail.content.decode()
    target = reverse(f"customers:{form}", args=[] if form == "add" else [ravelin.pk])
    assert client.get(target).status_code == 403
    assert client.post(target, TYPED).status_code == 403


def test_a_client_has_no_way_to_the_customers(people, sign_in, ravelin) -> None:
    client = sign_in(Client(), people.client)
    assert client.get(reverse("customers:list")).status_code == 403


def test_a_stranger_is_sent_to_sign_in(ravelin) -> None:
    answer = Client().get(reverse("customers:detail", args=[ravelin.pk]))
    assert answer.status_code == 302


def test_inviting_is_posted(people, sign_in, mabel) -> None:
    client = sign_in(Client(), people.coordinator)
    page = reverse("customers:invite", args=[mabel.pk])
    assert client.get(page).status_code == 405


def test_what_is_not_there_says_so(people, sign_in) -> None:
    client = sign_in(Client(), people.coordinator)
    assert client.get(reverse("customers:detail", args=[7])).status_code == 404
    assert client.get(reverse("customers:change-contact", args=[7])).status_code == 404


def test_the_list_asks_the_database_a_fixed_number_of_times(
    people, sign_in, django_assert_max_num_queries
) -> None:
    for number in range(30):
        add_customer(name=f"Customer {number}", address="Quay 1", acting_user=PROGRAM)
    client = sign_in(Client(), people.coordinator)
    with django_assert_max_num_queries(10):
        page = client.get(reverse("customers:list"), {"q": "customer"})
    assert len(page.context["page"].rows) == 30
