"""The permission table drives every page: who opens it, and who is refused."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from django.test import Client
from django.urls import URLPattern, URLResolver, get_resolver, reverse

from lab.accounts.permissions import ACTIONS, ANYONE, PAGES, Role

#: Something of each kind of address that names nothing there is.
NOTHING = {"int": 987654, "string": "nothing-there", "slug": "nothing-there"}
ROLES = {
    Role.COORDINATOR: "coordinator",
    Role.TECHNICIAN: "technician",
    Role.SIGNATORY: "signatory",
    Role.QUALITY: "quality",
    Role.ADMINISTRATOR: "administrator",
    Role.CLIENT: "client",
}
GUARDED = sorted(name for name, action in PAGES.items() if action != ANYONE)


def converters(resolver: URLResolver, space: str = "") -> Iterator[tuple[str, dict]]:
    for entry in resolver.url_patterns:
        if isinstance(entry, URLResolver):
            inner = f"{space}{entry.namespace}:" if entry.namespace else space
            yield from converters(entry, inner)
        elif isinstance(entry, URLPattern):
            yield f"{space}{entry.name}", entry.pattern.converters


def address_of(name: str) -> str:
    kinds = dict(converters(get_resolver()))[name]
    keys = {
        key: NOTHING[type(kind).__name__.removesuffix("Converter").lower()]
        for key, kind in kinds.items()
    }
    return reverse(name, kwargs=keys)


@pytest.mark.django_db
@pytest.mark.parametrize("role", ROLES)
def test_a_role_opens_its_pages_and_is_refused_all_others(
    people, sign_in, role: Role
) -> None:
    client = sign_in(Client(), getattr(people, ROLES[role]))
    wrong = []
    for name in GUARDED:
        answer = client.get(address_of(name))
        refused = answer.status_code == 403
        to_login = "sign-in" in answer.headers.get("Location", "")
        if refused == (role in ACTIONS[PAGES[name]]) or to_login:
            wrong.append((name, answer.status_code))
    assert wrong == []


@pytest.mark.django_db
def test_a_stranger_is_sent_to_sign_in_from_every_guarded_page() -> None:
    client = Client()
    open_ones = []
    for name in GUARDED:
        answer = client.get(address_of(name))
        if "sign-in" not in answer.headers.get("Location", ""):
            open_ones.append((name, answer.status_code))
    assert open_ones == []


@pytest.mark.django_db
@pytest.mark.parametrize("role", ROLES)
def test_a_role_posts_to_no_page_that_is_not_its_own(
    people, sign_in, role: Role
) -> None:
    client = sign_in(Client(), getattr(people, ROLES[role]))
    foreign = [name for name in GUARDED if role not in ACTIONS[PAGES[name]]]
    answers = {name: client.post(address_of(name)).status_code for name in foreign}
    assert {n: code for n, code in answers.items() if code != 403} == {}
