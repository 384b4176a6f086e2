"""Adding a person."""

from __future__ import annotations

import pytest
from django.test import Client

from lab.accounts.models import User
from lab.accounts.permissions import Role
from lab.accounts.services import create_person
from lab.common import audit
from lab.common.actors import PROGRAM
from lab.common.errors import NotAcceptable, NotAllowed

pytestmark = pytest.mark.django_db

GOOD = "seven wet ropes in a row"


def add(**changes):
    words = {
        "email": "Femke@Saltmarsh.example",
        "name": "  Femke   Rood ",
        "role": "technician",
        "password": GOOD,
        "acting_user": PROGRAM,
    }
    return create_person(**{**words, **changes})


def test_a_person_is_added_with_address_in_lower_case_and_audited():
    person = add()
    assert (person.email, person.name) == ("femke@saltmarsh.example", "Femke Rood")
    assert person.check_password(GOOD)
    entry = audit.history_of(person).get()
    assert entry.verb == "person.added"
    assert GOOD not in entry.values_text
    assert "password" not in entry.values_text


def test_without_a_password_nobody_signs_in():
    assert not add(password=None).has_usable_password()


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"email": "femke"}, "email"),
        ({"email": "f" * 200 + "@saltmarsh.example"}, "email"),
        ({"name": "   "}, "name"),
        ({"name": "x" * 121}, "name"),
        ({"role": "owner"}, "role"),
        ({"password": "short"}, "password"),
        ({"password": "123456789012"}, "password"),
        ({"password": "femke@saltmarsh.example"}, "password"),
    ],
)
def test_what_is_not_acceptable_is_refused_beside_its_field(changes, field):
    with pytest.raises(NotAcceptable) as refusal:
        add(**changes)
    assert refusal.value.field == field
    assert not User.objects.exists()


def test_a_taken_address_is_refused_in_any_case_of_letters():
    add()
    with pytest.raises(NotAcceptable, match="already"):
        add(email="FEMKE@saltmarsh.EXAMPLE")


@pytest.mark.parametrize("part", ["coordinator", "technician", "signatory", "quality"])
def test_only_an_administrator_adds_people(people, part):
    with pytest.raises(NotAllowed):
        add(acting_user=getattr(people, part))
    assert add(acting_user=people.administrator).role == Role.TECHNICIAN


def test_everyone_of_the_fixture_reaches_the_front_page(people, sign_in):
    for person in (people.technician, people.signatory, people.client):
        front = sign_in(Client(), person).get("/", follow=True)
        assert front.status_code == 200
