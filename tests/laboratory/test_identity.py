"""The lab's identity: set up once, changed with a trace, fit to be printed."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest
from django.db import IntegrityError, transaction

from lab.common.actors import PROGRAM
from lab.common.audit import history_of
from lab.common.errors import NotAcceptable, NotAllowed, WrongState
from lab.common.models import AuditEntry
from lab.laboratory import services
from lab.laboratory.models import Laboratory
from lab.laboratory.selectors import home_zone, the_laboratory
from lab.laboratory.services import Identity
from lab.laboratory.zones import zone_names

SALTMARSH = Identity(
    name="Saltmarsh Dimensional",
    address="The Net House\nPort Ennis",
    email="office@saltmarsh.example",
    phone="+00 5550 1234",
    time_zone="Europe/Tallinn",
)


def test_setting_up_leaves_one_laboratory_and_one_entry(laboratory: Laboratory) -> None:
    assert the_laboratory() == laboratory
    assert laboratory.address_lines == ["The Net House", "Port Ennis"]
    assert str(home_zone()) == "Europe/Tallinn"
    entry = history_of(laboratory).get()
    assert entry.verb == "laboratory.set_up"
    assert '"name":"Saltmarsh Dimensional"' in entry.values_text


def test_setting_up_alike_again_changes_nothing(laboratory: Laboratory) -> None:
    before = AuditEntry.objects.count()
    again = services.set_up_laboratory(identity=SALTMARSH, acting_user=PROGRAM)
    assert again == laboratory
    assert AuditEntry.objects.count() == before


def test_another_laboratory_is_refused(laboratory: Laboratory) -> None:
    with pytest.raises(WrongState, match="set up already"):
        services.set_up_laboratory(
            identity=replace(SALTMARSH, name="Elsewhere"), acting_user=PROGRAM
        )
    with pytest.raises(IntegrityError), transaction.atomic():
        Laboratory.objects.create(name="Elsewhere")
    with pytest.raises(IntegrityError), transaction.atomic():
        Laboratory.objects.create(name="Elsewhere", only=2)


@pytest.mark.parametrize(
    ("field", "typed"),
    [
        ("name", "tbd"),
        ("address", "-"),
        ("address", "a\nb\nc\nd\ne\nf\ng"),
        ("email", "office at saltmarsh"),
        ("email", ""),
        ("phone", "n/a"),
        ("accreditation", "n/a"),
        ("time_zone", "Port Ennis"),
        ("time_zone", "EST"),
        ("paper", "a3"),
        ("document_title", "poem"),
        ("name", "x" * 50 + "y" * 71),
    ],
)
@pytest.mark.django_db
def test_what_could_not_be_printed_is_refused_beside_its_field(
    field: str, typed: str
) -> None:
    with pytest.raises(NotAcceptable) as refusal:
        services.set_up_laboratory(
            identity=replace(SALTMARSH, **{field: typed}), acting_user=PROGRAM
        )
    assert refusal.value.field == field
    assert not Laboratory.objects.exists()


def test_a_change_keeps_the_old_value_beside_the_new(
    laboratory: Laboratory, people: Any
) -> None:
    services.change_laboratory(
        identity=replace(SALTMARSH, phone="+00 5550 9999", paper="letter"),
        reason="The exchange was replaced.",
        acting_user=people.administrator,
    )
    laboratory.refresh_from_db()
    assert (laboratory.phone, laboratory.paper) == ("+00 5550 9999", "letter")
    entry = history_of(laboratory).first()
    assert entry is not None
    assert (entry.verb, entry.reason) == (
        "laboratory.changed",
        "The exchange was replaced.",
    )
    assert entry.values_text == (
        '{"after":{"paper":"letter","phone":"+00 5550 9999"},'
        '"before":{"paper":"a4","phone":"+00 5550 1234"}}'
    )


def test_changing_nothing_writes_nothing(laboratory: Laboratory, people: Any) -> None:
    before = AuditEntry.objects.count()
    services.change_laboratory(identity=SALTMARSH, acting_user=people.quality)
    assert AuditEntry.objects.count() == before


def test_nothing_is_changed_before_it_is_set_up(people: Any) -> None:
    with pytest.raises(WrongState, match="not set up"):
        services.change_laboratory(identity=SALTMARSH, acting_user=people.quality)
    with pytest.raises(WrongState, match="not set up"):
        home_zone()


@pytest.mark.parametrize("part", ["coordinator", "technician", "signatory", "client"])
def test_others_may_not_change_it(
    part: str, laboratory: Laboratory, people: Any
) -> None:
    with pytest.raises(NotAllowed):
        services.change_laboratory(
            identity=SALTMARSH, acting_user=getattr(people, part)
        )


def test_zones_are_places() -> None:
    names = zone_names()
    assert "UTC" in names
    assert "Europe/Tallinn" in names
    assert not {"localtime", "Factory", "GB"} & set(names)
