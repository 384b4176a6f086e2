"""``manage.py add-person``: the first administrator."""

from __future__ import annotations

import io
import sys

import pytest
from django.core.management import CommandError, call_command

from lab.accounts.models import User
from lab.accounts.permissions import Role
from lab.common import audit

pytestmark = pytest.mark.django_db
WHO = ("sunniva@saltmarsh.example", "Sunniva Locke")


def run(*args: str) -> str:
    said = io.StringIO()
    call_command("add-person", *args, stdout=said)
    return said.getvalue()


def test_the_first_administrator_is_added_and_sets_the_password_by_a_link(client):
    said = run(*WHO)
    person = User.objects.get()
    assert person.role == Role.ADMINISTRATOR
    assert not person.has_usable_password()
    path = said.split("http://localhost:8000")[1].strip()
    typed = "seven wet ropes in a row"
    assert client.post(path, {"password": typed, "again": typed}).status_code == 302
    person.refresh_from_db()
    assert person.check_password(typed)
    assert audit.history_of(person).last().actor_name == "the program"


def test_a_password_may_be_piped_in(monkeypatch):
    monkeypatch.setattr(sys, "stdin", io.StringIO("seven wet ropes in a row\n"))
    assert "http" not in run(*WHO, "--password", "--role", "technician")
    person = User.objects.get()
    assert person.check_password("seven wet ropes in a row")
    assert person.role == Role.TECHNICIAN


@pytest.mark.parametrize(
    ("typed", "words"),
    [(("no address", "Sunniva"), "no e-mail address"), ((WHO[0], " "), "name")],
)
def test_what_can_not_be_taken_is_told_in_words(typed, words):
    with pytest.raises(CommandError, match=words):
        run(*typed)
    assert not User.objects.exists()


def test_a_weak_password_and_a_taken_address_are_refused(monkeypatch):
    monkeypatch.setattr(sys, "stdin", io.StringIO("short\n"))
    with pytest.raises(CommandError, match="too short"):
        run(*WHO, "--password")
    run(*WHO)
    with pytest.raises(CommandError, match="already"):
        run(*WHO)
