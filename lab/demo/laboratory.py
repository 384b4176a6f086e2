"""The invented lab itself: Saltmarsh Dimensional in Port Ennis, with two rooms."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Final

from lab.accounts.models import User
from lab.common.actors import PROGRAM
from lab.demo.people import Staff
from lab.laboratory.climate import Limits
from lab.laboratory.models import (
    Activity,
    CharacteristicKind,
    CheckKind,
    DecisionRuleRevision,
    Laboratory,
    MethodRevision,
    Room,
    Series,
    Site,
)
from lab.laboratory.ruling import Ruling
from lab.laboratory.scope import Capability
from lab.laboratory.services import (
    Identity,
    add_room,
    add_site,
    change_number_format,
    grant_authorisation,
    offer_decision_rule,
    record_method_revision,
    set_up_laboratory,
    start_method,
)
from lab.metrology.conformity import RuleKind
from lab.metrology.units import Quantity

ZONE: Final = "Europe/London"
ADDRESS: Final = "Saltmarsh Dimensional\n3 Sluice Road\nPort Ennis PE4 2SD"
IDENTITY: Final = Identity(
    name="Saltmarsh Dimensional",
    address="3 Sluice Road\nPort Ennis PE4 2SD",
    email="desk@saltmarsh.example",
    phone="+44 1632 960 140",
    time_zone=ZONE,
    paper=Laboratory.Paper.A4,
    country="GB",
    document_title=Laboratory.Title.MEASUREMENT_REPORT,
)
#: The rooms are kept to these; the Long Room's rooflight is a nuisance all the same.
LONG_ROOM: Final = Limits(
    temperature_lowest=Quantity("18", "°C"),
    temperature_highest=Quantity("24", "°C"),
    rate=Quantity("1", "K/h"),
    humidity_lowest=Quantity("35", "%"),
    humidity_highest=Quantity("65", "%"),
)
NET_LOFT: Final = Limits(
    temperature_lowest=Quantity("18.5", "°C"),
    temperature_highest=Quantity("21.5", "°C"),
    rate=Quantity("0.5", "K/h"),
    humidity_lowest=Quantity("40", "%"),
    humidity_highest=Quantity("60", "%"),
)
LIMITS_OF_METHOD: Final = Limits(
    temperature_lowest=Quantity("17", "°C"),
    temperature_highest=Quantity("26", "°C"),
    rate=Quantity("1", "K/h"),
)


def _capability(kind: str, constant: str, per_metre: str, largest: str) -> Capability:
    return Capability(
        kind=kind,
        smallest=Quantity("5", "mm"),
        largest=Quantity(largest, "mm"),
        cmc_constant=Quantity(constant, "µm"),
        cmc_per_metre=Quantity(per_metre, "µm"),
    )


SCOPE: Final = (
    _capability(CharacteristicKind.LENGTH, "28", "16", "4000"),
    _capability(CharacteristicKind.DIAMETER, "24", "12", "1200"),
    _capability(CharacteristicKind.FORM, "22", "0", "2000"),
    _capability(CharacteristicKind.POSITION, "34", "12", "3000"),
)


@dataclass(frozen=True, slots=True)
class House:
    """What the rest of the demo builds on."""

    site: Site
    long_room: Room
    net_loft: Room
    method: MethodRevision
    simple: DecisionRuleRevision
    guarded: DecisionRuleRevision
    proven: DecisionRuleRevision


def set_up(staff: Staff, today: date) -> House:
    """Found the lab: identity, rooms, one method, three rules, who may do what."""
    set_up_laboratory(identity=IDENTITY, acting_user=PROGRAM)
    change_number_format(
        series=Series.JOB, pattern="SJ{year}-{number:04d}", acting_user=PROGRAM
    )
    change_number_format(
        series=Series.CERTIFICATE, pattern="SC{year}-{number:04d}", acting_user=PROGRAM
    )
    site = add_site(
        name="Sluice Road", address=ADDRESS, time_zone=ZONE, acting_user=PROGRAM
    )
    rooms = [
        add_room(site=site, name=name, limits=limits, acting_user=staff.quality)
        for name, limits in (("Long Room", LONG_ROOM), ("Net Loft", NET_LOFT))
    ]
    revision = _record_method(staff.quality, today)
    _authorise(staff, revision, today)
    simple, guarded, proven = _offer_rules(staff.quality)
    return House(site, rooms[0], rooms[1], revision, simple, guarded, proven)


def _record_method(quality: User, today: date) -> MethodRevision:
    method = start_method(
        code="MP-01", title="Tracked hand-held scanning", acting_user=quality
    )
    return record_method_revision(
        method=method,
        revision="C",
        valid_from=today,
        reference_document="Measuring procedure MP-01, issue C",
        changes="First revision kept in this program.",
        limits=LIMITS_OF_METHOD,
        capabilities=SCOPE,
        checks=[CheckKind.LENGTH],
        acting_user=quality,
    )


def _authorise(staff: Staff, revision: MethodRevision, today: date) -> None:
    measure, evaluate = Activity.MEASURE, Activity.EVALUATE
    grants = [(person, a) for person in staff.technicians for a in (measure, evaluate)]
    grants += [
        (staff.signatory, Activity.REVIEW),
        (staff.signatory, Activity.AUTHORISE),
        (staff.quality, Activity.REVIEW),
        (staff.technicians[2], Activity.REVIEW),
    ]
    for person, activity in grants:
        grant_authorisation(
            person=person,
            method=revision.method,
            activity=activity,
            valid_from=today,
            valid_until=None,
            evidence="Trained by MP-01, witnessed on the ball bar, record in file 7.",
            acting_user=staff.quality,
        )


def _offer_rules(quality: User) -> list[DecisionRuleRevision]:
    offers = (
        (
            "Shared risk",
            Ruling(kind=RuleKind.SIMPLE),
            "A result exactly at the limit is wrong as often as right.",
        ),
        (
            "Guard band of U",
            Ruling(kind=RuleKind.GUARDED, guard_factor="1"),
            "At the acceptance limit about one result in forty is out of tolerance.",
        ),
        (
            "Proof of conformity",
            Ruling(kind=RuleKind.ISO_14253_1, probability_percent="95"),
            "Conformity is stated only where 95 % sure; some results prove neither.",
        ),
    )
    return [
        offer_decision_rule(name=name, ruling=ruling, risk=risk, acting_user=quality)
        for name, ruling, risk in offers
    ]
