"""A client with an account, another customer's client, certificates in any state."""

from __future__ import annotations

import itertools
from collections.abc import Callable
from datetime import datetime
from typing import Any

import pytest
from django.test import Client

from lab.accounts.models import User
from lab.accounts.permissions import Role
from lab.accounts.services import create_person
from lab.certificates.models import Certificate, Document, Draft, Withdrawal
from lab.common import clock
from lab.common.actors import PROGRAM
from lab.common.files.store import store_file
from lab.customers.models import Contact
from lab.customers.services import add_contact, add_customer
from lab.jobs.models import Job
from tests import chain

PDF = b"%PDF-1.4\n%%EOF\n"


@pytest.fixture
def lab(people: Any) -> chain.Lab:
    made = chain.found_lab(people)
    _give_account(made.contact, people.client)
    return made


@pytest.fixture
def stranger(people: Any, lab: chain.Lab) -> User:
    """A client contact of another customer."""
    with clock.set_to(chain.at(7)):
        other = add_customer(
            name="Tern Tidal", address="1 Slipway\nPort Ennis", acting_user=PROGRAM
        )
        contact = add_contact(
            customer=other,
            name="Ines Tern",
            email="ines@tern.example",
            acting_user=PROGRAM,
        )
    person = create_person(
        email=contact.email,
        name=contact.name,
        role=Role.CLIENT,
        password=people.password,
        acting_user=PROGRAM,
    )
    _give_account(contact, person)
    return person


def _give_account(contact: Contact, person: User) -> None:
    contact.user = person
    contact.save(update_fields=["user"])


@pytest.fixture
def job(lab: chain.Lab) -> Job:
    with clock.set_to(chain.at(8)):
        return chain.book(lab)


@pytest.fixture
def as_(sign_in: Callable[[Client, User], Client]) -> Callable[[User], Client]:
    return lambda person: sign_in(Client(), person)


@pytest.fixture
def statuses() -> Callable[[Client, list[str]], list[int]]:
    """Return what gets pages one after the other, and says how each was answered."""

    def get_all(client: Client, paths: list[str]) -> list[int]:
        found = []
        for path in paths:
            answer = client.get(path)
            found.append(answer.status_code)
            if answer.streaming:
                # Read to its end: closing it early would also close the test's own
                # database connection, which the client spares only while reading.
                b"".join(answer.streaming_content)
        return found

    return get_all


@pytest.fixture
def certify(lab: chain.Lab, job: Job) -> Callable[..., Certificate]:
    """Return what makes the rows of an issued certificate, with its document."""
    numbers = itertools.count(1)

    def make(*, drawn: bool = True, **changes: Any) -> Certificate:
        number = next(numbers)
        draft = Draft.objects.create(
            job=job,
            state=Draft.State.ISSUED,
            title="measurement_report",
            deviations="None.",
            prepared_by=lab.people.technician,
            amends=changes.get("amends"),
            replaces=changes.get("replaces"),
        )
        made = Certificate.objects.create(
            **{
                "number": f"C2026-{number:04d}",
                "job": job,
                "draft": draft,
                "snapshot_text": '{"schema": 1}',
                "snapshot_sha256": "0" * 64,
                "authenticity_code": f"{'ABCDEFGH'[number]}TZQ7MWB2XJ5HDA6RNEVY4CLP2"[
                    :26
                ],
                "issued_by": lab.people.signatory,
                "issued_at": issued_at(number),
            }
            | changes
        )
        if drawn:
            stored = store_file(PDF, name=f"{made.number}.pdf", kind="other")
            Document.objects.create(
                certificate=made, file=stored, unsigned_sha256=stored.sha256
            )
        return made

    return make


def issued_at(number: int) -> datetime:
    return chain.at(14, number)


@pytest.fixture
def withdraw(lab: chain.Lab) -> Callable[[Certificate], None]:
    def act(certificate: Certificate) -> None:
        Withdrawal.objects.create(
            certificate=certificate,
            reason="The wrong bar was named.",
            withdrawn_by=lab.people.signatory,
        )

    return act
