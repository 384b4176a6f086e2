"""A small lab with one customer, one part and one system, made through the services."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, date, datetime

import pytest

from lab.checks.models import MeasuringSystem
from lab.common import clock
from lab.common.actors import PROGRAM
from lab.customers.models import Contact, Customer
from lab.customers.services import add_contact, add_customer
from lab.equipment.models import Device
from lab.equipment.services import add_device
from lab.jobs.models import Job
from lab.jobs.services import book_job, receive_item, record_agreement
from lab.laboratory.climate import Limits
from lab.laboratory.models import (
    Activity,
    DecisionRuleRevision,
    MethodRevision,
    Room,
)
from lab.laboratory.ruling import Ruling
from lab.laboratory.scope import Capability
from lab.laboratory.services import (
    Identity,
    add_room,
    add_site,
    grant_authorisation,
    offer_decision_rule,
    record_method_revision,
    set_up_laboratory,
    start_method,
)
from lab.metrology.units import Quantity
from lab.parts.entries import CharacteristicEntry
from lab.parts.models import PartRevision
from lab.parts.services import add_part, record_revision

DAY = date(2026, 3, 16)
MORNING = datetime(2026, 3, 16, 8, tzinfo=UTC)
NOON = datetime(2026, 3, 17, 12, tzinfo=UTC)
LIMITS = Limits(
    temperature_lowest=Quantity("18", "°C"), temperature_highest=Quantity("22", "°C")
)


@dataclass
class Lab:
    """What a job needs around it."""

    room: Room
    method: MethodRevision
    guarded: DecisionRuleRevision
    customer: Customer
    contact: Contact
    revision: PartRevision
    system: MeasuringSystem
    other_system: MeasuringSystem
    thermometer: Device


@pytest.fixture
def lab(people) -> Lab:
    with clock.set_to(MORNING):
        return found_lab(people)


def found_lab(people) -> Lab:
    set_up_laboratory(
        identity=Identity(
            name="Saltmarsh Dimensional",
            address="3 Sluice Road\nPort Ennis",
            email="desk@saltmarsh.example",
            phone="+44 1632 960140",
            time_zone="Europe/London",
        ),
        acting_user=PROGRAM,
    )
    site = add_site(
        name="Sluice Road",
        address="3 Sluice Road\nPort Ennis",
        time_zone="Europe/London",
        acting_user=PROGRAM,
    )
    room = add_room(site=site, name="Net Loft", limits=LIMITS, acting_user=PROGRAM)
    method = record_method_revision(
        method=start_method(code="MP-01", title="Scanning", acting_user=people.quality),
        revision="A",
        valid_from=DAY,
        reference_document="MP-01, issue A",
        changes="First.",
        limits=LIMITS,
        capabilities=[
            Capability(
                kind="length",
                smallest=Quantity("5", "mm"),
                largest=Quantity("3000", "mm"),
                cmc_constant=Quantity("20", "µm"),
                cmc_per_metre=Quantity("10", "µm"),
            )
        ],
        acting_user=people.quality,
    )
    for activity in (Activity.MEASURE, Activity.EVALUATE):
        grant_authorisation(
            person=people.technician,
            method=method.method,
            activity=activity,
            valid_from=DAY,
            valid_until=None,
            evidence="Witnessed.",
            acting_user=people.quality,
        )
    guarded = offer_decision_rule(
        name="Guard band of U",
        ruling=Ruling(kind="guarded", guard_factor="1"),
        risk="About one in forty at the limit.",
        acting_user=people.quality,
    )
    customer = add_customer(
        name="Ravelin Ropeways", address="4 Winch Lane", acting_user=PROGRAM
    )
    contact = add_contact(
        customer=customer,
        name="Mabel Orrin",
        email="mabel@ravelin.example",
        acting_user=PROGRAM,
    )
    part = add_part(
        customer=customer, number="RR-1", name="Hanger arm", acting_user=PROGRAM
    )
    revision = record_revision(
        part=part,
        revision="B",
        material="Steel",
        expansion=Quantity("11.5", "µm/(m·K)"),
        expansion_u=Quantity("0.6", "µm/(m·K)"),
        characteristics=[
            CharacteristicEntry(
                "1", "length", "Eye to eye", "mm", "1000", "-0.1", "0.1"
            )
        ],
        acting_user=people.coordinator,
    )
    thermometer = add_device(
        tag="CT-1",
        kind="contact thermometer",
        name="Contact thermometer",
        serial="T1",
        acting_user=people.technician,
    )
    systems = [make_system(people, number) for number in (1, 2)]
    return Lab(
        room, method, guarded, customer, contact, revision, *systems, thermometer
    )


def make_system(people, number: int) -> MeasuringSystem:
    devices = {
        kind: add_device(
            tag=f"{kind[:2].upper()}-{number}",
            kind=kind,
            name=kind.title(),
            serial=f"{kind}{number}",
            acting_user=people.technician,
        )
        for kind in ("tracker", "scanner")
    }
    return MeasuringSystem.objects.create(name=f"System {number}", **devices)


def book(lab: Lab, people, **changes) -> Job:
    return book_job(
        **{
            "customer": lab.customer,
            "contact": lab.contact,
            "order_number": "PO 4100",
            "part_revision": lab.revision,
            "room": lab.room,
            "serials": ["RR-1-700", "RR-1-701"],
            "acting_user": people.coordinator,
        }
        | changes
    )


def agree(lab: Lab, people, job: Job, **changes):
    return record_agreement(
        **{
            "job": job,
            "asked": "Measure everything and state conformity.",
            "part_revision": lab.revision,
            "method": lab.method,
            "rule": lab.guarded,
            "agreed_with": lab.contact,
            "agreed_on": DAY,
            "acting_user": people.coordinator,
        }
        | changes
    )


def receive(people, job: Job, **changes) -> None:
    for item in job.items.all():
        receive_item(
            **{
                "item": item,
                "at": MORNING,
                "condition": "Clean, no damage seen.",
                "place": "Soaking bench",
                "acting_user": people.coordinator,
            }
            | changes
        )


@pytest.fixture
def ready_job(lab: Lab, people) -> Job:
    """A job that may be started: agreed, its items here."""
    with clock.set_to(NOON):
        job = book(lab, people)
        agree(lab, people, job)
        receive(people, job)
    return Job.objects.get(pk=job.pk)
