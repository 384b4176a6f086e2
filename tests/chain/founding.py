"""The lab before its first job: house, people's authority, devices, systems."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from typing import Any

from lab.checks.models import MeasuringSystem, ProcedureRevision
from lab.checks.services import (
    add_procedure,
    add_system,
    revise_procedure,
)
from lab.common import clock
from lab.common.actors import PROGRAM
from lab.customers.models import Contact, Customer
from lab.customers.services import add_contact, add_customer
from lab.equipment.entries import CalibratedEntry
from lab.equipment.models import Device
from lab.equipment.services import (
    accept_calibration,
    add_device,
    record_calibration,
)
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
from lab.parts.models import Characteristic, PartRevision
from lab.parts.services import add_part, record_revision
from tests.stages import staged

FOUNDED = date(2026, 3, 16)
DAY = date(2026, 3, 17)
A_TO_B = "Length A–B"
BAR_VALUE = CalibratedEntry(
    label=A_TO_B, value=Quantity("1200.034", "mm"), expanded_u=Quantity("4", "µm")
)
BAR_EXPANSION = {
    "expansion": Quantity("0.6", "µm/(m·K)"),
    "expansion_u": Quantity("0.2", "µm/(m·K)"),
}
ADDRESS = "3 Sluice Road\nPort Ennis PE4 2SD"
LIMITS = Limits(
    temperature_lowest=Quantity("18", "°C"), temperature_highest=Quantity("22", "°C")
)


def at(hour: int, minute: int = 0, *, days: int = 0) -> datetime:
    """Return a time of the working day, or of one some days later."""
    moment = datetime(DAY.year, DAY.month, DAY.day, hour, minute, tzinfo=UTC)
    return moment + timedelta(days=days)


@dataclass
class Lab:
    """What a job needs around it."""

    people: Any
    room: Room
    method: MethodRevision
    guarded: DecisionRuleRevision
    simple: DecisionRuleRevision
    customer: Customer
    contact: Contact
    revision: PartRevision
    system: MeasuringSystem
    other_system: MeasuringSystem
    procedure: ProcedureRevision
    bar: Device
    thermometer: Device
    logger: Device

    @property
    def characteristics(self) -> dict[str, Characteristic]:
        return {one.number: one for one in self.revision.characteristics.all()}


def found_lab(people: Any) -> Lab:
    """Found the lab on the day before the working day."""
    return staged("lab", lambda: _found(people))


def _found(people: Any) -> Lab:
    with clock.set_to(datetime(2026, 3, 16, 8, tzinfo=UTC)):
        room, method = _house(people)
        guarded, simple = _rules(people)
        customer = add_customer(
            name="Ravelin Ropeways",
            address="4 Winch Lane\nPort Ennis",
            acting_user=PROGRAM,
        )
        contact = add_contact(
            customer=customer,
            name="Mabel Orrin",
            email="mabel@ravelin.example",
            acting_user=PROGRAM,
        )
        devices = _devices(people)
        systems = [
            _system(people, "Net Loft system", devices, 1),
            _system(people, "Long Room system", devices, 2),
        ]
        return Lab(
            people=people,
            room=room,
            method=method,
            guarded=guarded,
            simple=simple,
            customer=customer,
            contact=contact,
            revision=_part(people, customer),
            system=systems[0],
            other_system=systems[1],
            procedure=_procedure(people, systems, devices["SB-1"]),
            bar=devices["SB-1"],
            thermometer=devices["CT-1"],
            logger=devices["LG-1"],
        )


def _house(people: Any) -> tuple[Room, MethodRevision]:
    set_up_laboratory(
        identity=Identity(
            name="Saltmarsh Dimensional",
            address=ADDRESS,
            email="desk@saltmarsh.example",
            phone="+44 1632 960140",
            country="GB",
            time_zone="Europe/London",
        ),
        acting_user=PROGRAM,
    )
    site = add_site(
        name="Sluice Road",
        address=ADDRESS,
        time_zone="Europe/London",
        acting_user=PROGRAM,
    )
    room = add_room(site=site, name="Net Loft", limits=LIMITS, acting_user=PROGRAM)
    method = record_method_revision(
        method=start_method(code="MP-01", title="Scanning", acting_user=people.quality),
        revision="A",
        valid_from=FOUNDED,
        reference_document="MP-01, issue A",
        changes="First.",
        limits=LIMITS,
        capabilities=[
            _capability("length", "20", "10"),
            _capability("form", "15", "0"),
            Capability(
                kind="angle",
                smallest=Quantity("5", "mm"),
                largest=Quantity("3000", "mm"),
                cmc_angle=Quantity("0.01", "°"),
            ),
        ],
        acting_user=people.quality,
    )
    _authorise(people, method)
    return room, method


def _capability(kind: str, constant: str, per_metre: str) -> Capability:
    return Capability(
        kind=kind,
        smallest=Quantity("5", "mm"),
        largest=Quantity("3000", "mm"),
        cmc_constant=Quantity(constant, "µm"),
        cmc_per_metre=Quantity(per_metre, "µm"),
    )


def _authorise(people: Any, method: MethodRevision) -> None:
    grants = [
        (people.technician, Activity.MEASURE),
        (people.technician, Activity.EVALUATE),
        (people.technician, Activity.REVIEW),
        (people.technician2, Activity.MEASURE),
        (people.technician2, Activity.EVALUATE),
        (people.technician3, Activity.REVIEW),
        (people.signatory, Activity.REVIEW),
        (people.signatory, Activity.AUTHORISE),
    ]
    for person, activity in grants:
        grant_authorisation(
            person=person,
            method=method.method,
            activity=activity,
            valid_from=FOUNDED,
            valid_until=None,
            evidence="Witnessed on the bar.",
            acting_user=people.quality,
        )


def _rules(people: Any) -> tuple[DecisionRuleRevision, DecisionRuleRevision]:
    guarded = offer_decision_rule(
        name="Guard band of U",
        ruling=Ruling(kind="guarded", guard_factor="1"),
        risk="A pass is wrong with at most 2.3 %.",
        acting_user=people.quality,
    )
    simple = offer_decision_rule(
        name="Simple acceptance",
        ruling=Ruling(kind="simple"),
        risk="A pass may be wrong with up to 50 %.",
        acting_user=people.quality,
    )
    return guarded, simple


def _part(people: Any, customer: Customer) -> PartRevision:
    part = add_part(
        customer=customer, number="RR-1", name="Hanger arm", acting_user=PROGRAM
    )
    return record_revision(
        part=part,
        revision="B",
        material="Steel",
        expansion=Quantity("11.5", "µm/(m·K)"),
        expansion_u=Quantity("0.6", "µm/(m·K)"),
        characteristics=[
            CharacteristicEntry(
                "1", "length", "Eye to eye", "mm", "1000", "-0.1", "0.1"
            ),
            CharacteristicEntry(
                "2", "form", "Flatness of the foot", "mm", "0", "", "0.1"
            ),
            CharacteristicEntry("3", "angle", "Foot to arm", "°", "90", "-0.1", "0.1"),
        ],
        acting_user=people.coordinator,
    )


def correct_drawing(lab: Lab, **changes: Any) -> PartRevision:
    """Record the part's drawing again, with the tolerance of the length at ±0.2."""
    entries = [
        CharacteristicEntry("1", "length", "Eye to eye", "mm", "1000", "-0.2", "0.2"),
        CharacteristicEntry("2", "form", "Flatness of the foot", "mm", "0", "", "0.1"),
        CharacteristicEntry("3", "angle", "Foot to arm", "°", "90", "-0.1", "0.1"),
    ]
    return record_revision(
        **{
            "part": lab.revision.part,
            "revision": "B",
            "material": "Steel",
            "expansion": Quantity("11.5", "µm/(m·K)"),
            "expansion_u": Quantity("0.6", "µm/(m·K)"),
            "characteristics": entries,
            "supersedes": lab.revision,
            "changes": "The tolerance of 1 was misread.",
            "acting_user": lab.people.coordinator,
        }
        | changes
    )


def _devices(people: Any) -> dict[str, Device]:
    kinds = {
        "TR-1": "tracker",
        "SC-1": "scanner",
        "TR-2": "tracker",
        "SC-2": "scanner",
        "SB-1": "scale bar",
        "CT-1": "contact thermometer",
        "LG-1": "logger",
    }
    made = {}
    for tag, kind in kinds.items():
        expands = {} if kind != "scale bar" else BAR_EXPANSION
        made[tag] = add_device(
            tag=tag,
            kind=kind,
            name=kind.title(),
            serial=f"{tag}-0001",
            acting_user=people.technician,
            **expands,
        )
        calibrate(people, made[tag])
    return made


def calibrate(people: Any, device: Device, **changes: Any) -> Any:
    """Record and accept a calibration, current for the year of the tests."""
    values = [BAR_VALUE] if device.kind == "scale bar" else []
    made = record_calibration(
        **{
            "device": device,
            "calibrated_on": date(2026, 1, 12),
            "counts_from": date(2026, 1, 16),
            "due_on": date(2027, 1, 15),
            "certificate_number": f"HC-{device.tag}-2601",
            "provider": "Hollin Calibration",
            "accreditation": "National body, no. 0417",
            "requirement_met": True,
            "values": values,
            "acting_user": people.technician,
        }
        | changes
    )
    if made.requirement_met:
        accept_calibration(
            calibration=made, words="As required.", acting_user=people.quality
        )
    return made


def _system(
    people: Any, name: str, devices: dict[str, Device], number: int
) -> MeasuringSystem:
    return add_system(
        name=name,
        tracker=devices[f"TR-{number}"],
        scanner=devices[f"SC-{number}"],
        acting_user=people.quality,
    )


def _procedure(
    people: Any, systems: list[MeasuringSystem], bar: Device
) -> ProcedureRevision:
    procedure = add_procedure(
        code="CP-01",
        title="Length of the carbon-fibre bar",
        kind="length",
        systems=systems,
        acting_user=people.quality,
    )
    return revise_procedure(
        procedure=procedure,
        artefact=bar,
        calibrated_label=A_TO_B,
        positions=["Along the room", "Across the room"],
        limit_constant=Quantity("30", "µm"),
        limit_per_metre=Quantity("20", "µm"),
        temperature_u=Quantity("0.2", "K"),
        valid_for=timedelta(hours=12),
        closing_within=timedelta(hours=20),
        acting_user=people.quality,
    )
