"""Two at once: the last administrator, a code and a link are each had by one."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from threading import Barrier
from typing import Any

import pytest
from django.db import connections

from lab.accounts.codes import check_code
from lab.accounts.models import User
from lab.accounts.permissions import Role
from lab.accounts.services import (
    create_person,
    deactivate_person,
    hand_over_link,
    make_backup_codes,
    set_password_by_link,
)
from lab.common.actors import PROGRAM
from lab.common.errors import DomainError

pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.postgres]


@pytest.fixture
def refusals(on_postgres: None) -> Callable[[list[Callable[[], Any]]], list[str]]:
    """Return a function that starts calls at one moment and returns the refusals."""

    def run(calls: list[Callable[[], Any]]) -> list[str]:
        start = Barrier(len(calls))

        def one(call: Callable[[], Any]) -> str:
            try:
                start.wait(10)
                call()
            except DomainError as refusal:
                return refusal.sentence
            finally:
                connections.close_all()
            return ""

        with ThreadPoolExecutor(len(calls)) as threads:
            return [said for said in threads.map(one, calls) if said]

    return run


def test_two_administrators_who_deactivate_each_other_leave_one(people, refusals):
    first = people.administrator
    second = create_person(
        email="second@saltmarsh.example",
        name="Jorun Vane",
        role=Role.ADMINISTRATOR,
        acting_user=PROGRAM,
    )

    def leave(person: User, by: User) -> Callable[[], Any]:
        return lambda: deactivate_person(person=person, reason="Left", acting_user=by)

    said = refusals([leave(first, second), leave(second, first)])
    assert len(said) == 1
    assert "last active administrator" in said[0]
    left = User.objects.filter(role=Role.ADMINISTRATOR, is_active=True)
    assert left.count() == 1


def test_one_code_lets_one_in(people, refusals, fresh_code):
    code = fresh_code(people.signatory)
    said = refusals([lambda: check_code(people.signatory, code)] * 4)
    assert len(said) == 3


def test_one_backup_code_lets_one_in(people, refusals):
    code = make_backup_codes(acting_user=people.signatory)[0]
    said = refusals([lambda: check_code(people.signatory, code)] * 4)
    assert len(said) == 3
    assert people.signatory.backup_codes.filter(used_at__isnull=False).count() == 1


def test_one_link_sets_one_password(people, refusals):
    address = hand_over_link(person=people.technician, acting_user=PROGRAM)
    token = address.rsplit("/", 2)[1]
    words = [f"{number} grey ropes on a tern" for number in range(4)]

    def choose(password: str) -> Callable[[], Any]:
        return lambda: set_password_by_link(
            token=token, password=password, acting_user=PROGRAM
        )

    said = refusals([choose(password) for password in words])
    assert len(said) == 3
    people.technician.refresh_from_db()
    assert sum(map(people.technician.check_password, words)) == 1
