"""A small laboratory for the tests: one site, one room, one method, one rule."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from typing import Any

import pytest
from django.test import Client

from lab.accounts.models import User
from lab.common import clock
from lab.common.actors import PROGRAM
from lab.laboratory import services
from lab.laboratory.climate import Limits
from lab.laboratory.models import (
    Authorisation,
    DecisionRuleRevision,
    Laboratory,
    Method,
    MethodRevision,
    Room,
    Site,
)
from lab.laboratory.ruling import Ruling
from lab.laboratory.scope import Capability
from lab.laboratory.services import Identity
from lab.metrology.units import Quantity

#: East of Greenwich all year, and further in summer: midnights differ from UTC's.
ZONE = "Europe/Tallinn"


def q(text: str) -> Quantity:
    """Return a typed quantity from one text, such as ``20 °C``."""
    number, unit = text.split()
    return Quantity(number, unit)


IDENTITY = Identity(
    name="Saltmarsh Dimensional",
    address="The Net House\nPort Ennis",
    email="office@saltmarsh.example",
    phone="+00 5550 1234",
    time_zone=ZONE,
)
LIMITS = Limits(q("19 °C"), q("21 °C"), rate=q("0.5 K/h"), humidity_highest=q("60 %"))
LENGTHS = Capability(
    kind="length",
    smallest=q("10 mm"),
    largest=q("3 m"),
    cmc_constant=q("18 µm"),
    cmc_per_metre=q("12 µm"),
)
ANGLES = Capability(
    kind="angle", smallest=q("20 mm"), largest=q("2 m"), cmc_angle=q("0.01 °")
)


@dataclass(frozen=True)
class House:
    """What the fixture made."""

    laboratory: Laboratory
    site: Site
    room: Room
    method: Method
    rule: DecisionRuleRevision


@pytest.fixture
def laboratory(db: None) -> Laboratory:
    return services.set_up_laboratory(identity=IDENTITY, acting_user=PROGRAM)


@pytest.fixture
def house(laboratory: Laboratory, people: Any) -> House:
    quality = people.quality
    site = services.add_site(
        name="Port Ennis",
        address="The Net House\nPort Ennis",
        time_zone=ZONE,
        acting_user=quality,
    )
    room = services.add_room(
        site=site, name="Net Loft", limits=LIMITS, acting_user=quality
    )
    method = services.start_method(
        code="MP-01", title="Lengths by tracked scanner", acting_user=quality
    )
    rule = services.offer_decision_rule(
        name="Guarded",
        ruling=Ruling("guarded", guard_factor="1"),
        risk="Few bad parts pass.",
        acting_user=quality,
    )
    return House(laboratory, site, room, method, rule)


@pytest.fixture
def revise(house: House, people: Any) -> Callable[..., MethodRevision]:
    """Return a function that records a revision of the house's method."""

    def record(revision: str, valid_from: date, **changes: Any) -> MethodRevision:
        content: dict[str, Any] = {
            "reference_document": "SD-P-01",
            "changes": "Written anew.",
            "limits": LIMITS,
            "capabilities": [LENGTHS, ANGLES],
            "checks": ["length", "probing form"],
        }
        return services.record_method_revision(
            method=house.method,
            revision=revision,
            valid_from=valid_from,
            acting_user=people.quality,
            **content | changes,
        )

    return record


@pytest.fixture
def as_(client: Client, people: Any, sign_in: Any) -> Callable[[str], Client]:
    """Return a function that signs the test client in as one of the people."""

    def become(part: str) -> Client:
        person: User = getattr(people, part)
        return sign_in(client, person)

    return become


@pytest.fixture
def grant(house: House, people: Any) -> Callable[..., Authorisation]:
    """Return a function that authorises a person for the house's method."""

    def give(person: User, activity: str, **changes: Any) -> Authorisation:
        content: dict[str, Any] = {
            "method": house.method,
            "valid_from": clock.today(ZONE),
            "valid_until": None,
            "evidence": "Witnessed on two jobs.",
        }
        return services.grant_authorisation(
            person=person,
            activity=activity,
            acting_user=people.quality,
            **content | changes,
        )

    return give
