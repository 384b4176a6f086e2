"""Pages that change something: by plain forms, for the right roles."""

from __future__ import annotations

from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from lab.common.models import AuditEntry
from lab.laboratory.models import Laboratory

ALL_PARTS = ["coordinator", "technician", "signatory", "quality", "administrator"]

NAMES = [
    "identity",
    "add-site",
    "change-site",
    "add-room",
    "change-room",
    "change-numbers",
    "start-method",
    "change-title",
    "revise-method",
    "withdraw-revision",
    "grant",
    "revoke",
    "name-deputy",
    "end-deputation",
    "offer-rule",
    "revise-rule",
    "withdraw-rule",
]


def test_every_page_that_writes_is_tested_here(pages: Any) -> None:
    assert [here.name for here in pages] == NAMES


@pytest.mark.parametrize("name", NAMES)
def test_a_plain_form_does_it_and_leaves_its_entry(
    name: str, page: Any, as_: Any, people: Any
) -> None:
    here, client = page(name), as_("quality")
    shown = client.get(here.url)
    assert shown.status_code == (200 if here.shown_by_get else 405)
    last = AuditEntry.objects.order_by("pk").last()
    answer = client.post(here.url, here.good)
    assert answer.status_code == 302, answer.content.decode()
    made = AuditEntry.objects.filter(pk__gt=last.pk if last else 0)
    assert [(entry.verb, entry.actor) for entry in made] == [
        (here.verb, people.quality)
    ]
    assert client.get(answer.url).status_code == 200


@pytest.mark.parametrize("name", NAMES)
def test_other_roles_are_refused_and_change_nothing(
    name: str, page: Any, people: Any, sign_in: Any
) -> None:
    here = page(name)
    entries = AuditEntry.objects.count()
    for part in [*ALL_PARTS, "client"]:
        if part in here.roles:
            continue
        client = sign_in(Client(), getattr(people, part))
        assert client.post(here.url, here.good).status_code == 403
        assert client.get(here.url).status_code == 403
    assert AuditEntry.objects.count() == entries


@pytest.mark.parametrize("name", NAMES)
def test_an_outsider_is_sent_to_the_login(name: str, page: Any, client: Any) -> None:
    here = page(name)
    entries = AuditEntry.objects.count()
    for answer in (client.get(here.url), client.post(here.url, here.good)):
        assert answer.status_code == 302
        assert answer.url.startswith(reverse("accounts:login"))
    assert AuditEntry.objects.count() == entries


@pytest.mark.parametrize("name", NAMES)
def test_other_ways_of_asking_are_refused(name: str, page: Any, as_: Any) -> None:
    here, client = page(name), as_("quality")
    assert client.put(here.url).status_code == 405
    assert client.delete(here.url).status_code == 405


@pytest.mark.parametrize("name", NAMES)
def test_what_is_wrong_stands_beside_its_field(name: str, page: Any, as_: Any) -> None:
    here, client = page(name), as_("quality")
    entries = AuditEntry.objects.count()
    for where, typed in here.bad.items():
        answer = client.post(here.url, here.good | typed)
        assert answer.status_code == 400, (where, typed)
        form = answer.context["form"]
        assert list(form.errors) == [where], (where, form.errors)
        assert form.errors[where][0] in answer.content.decode().replace("&#x27;", "'")
    assert AuditEntry.objects.count() == entries


def test_an_administrator_changes_places_but_no_methods(
    pages: Any, people: Any, sign_in: Any
) -> None:
    client = sign_in(Client(), people.administrator)
    for here in pages:
        if "administrator" in here.roles:
            assert client.post(here.url, here.good).status_code == 302


def test_the_first_identity_sets_the_laboratory_up(as_: Any, people: Any) -> None:
    client = as_("administrator")
    overview = client.get(reverse("laboratory:overview"))
    assert "not set up yet" in overview.content.decode()
    good = {
        "name": "Saltmarsh Dimensional",
        "address": "Port Ennis",
        "email": "desk@saltmarsh.example",
        "phone": "5550",
        "time_zone": "Europe/Tallinn",
        "paper": "a4",
        "document_title": "measurement_report",
    }
    answer = client.post(reverse("laboratory:identity"), good)
    assert answer.status_code == 302
    assert Laboratory.objects.get().name == "Saltmarsh Dimensional"
    assert AuditEntry.objects.filter(verb="laboratory.set_up").count() == 1


def test_before_it_is_set_up_pages_say_what_to_do(as_: Any, people: Any) -> None:
    client = as_("quality")
    assert client.get(reverse("laboratory:methods")).status_code == 200
    answer = client.get(reverse("laboratory:authorisations"))
    assert answer.status_code == 409
    assert "Record its identity and time zone first" in answer.content.decode()


def test_what_is_not_there_is_404(house: Any, as_: Any) -> None:
    client = as_("quality")
    for name, args in (
        ("change-site", [999]),
        ("add-room", [999]),
        ("change-room", [999]),
        ("change-numbers", ["poem"]),
        ("method", ["MP-99"]),
        ("revision", [999]),
        ("authorisation", [999]),
        ("evidence", [999]),
        ("rule", [999]),
    ):
        assert client.get(reverse(f"laboratory:{name}", args=args)).status_code == 404
    ending = reverse("laboratory:end-deputation", args=[999])
    assert client.post(ending).status_code == 404
