"""The thin chain for tests: a small lab, and steps of a job through the services.

Each step is a function with sensible values, any of which can be changed by name.
Days are in March 2026, times in UTC; ``at(9)`` is nine o'clock on the working day.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from typing import Any

from lab.certificates.models import Certificate, Draft
from lab.certificates.services import (
    abandon_draft,
    approve_draft,
    issue_certificate,
    start_draft,
    submit_draft,
)
from lab.checks.models import ArtefactCheck, MeasuringSystem, ProcedureRevision
from lab.checks.services import (
    add_procedure,
    add_system,
    record_check,
    revise_procedure,
    void_check,
)
from lab.common import clock
from lab.common.actors import PROGRAM
from lab.customers.models import Contact, Customer
from lab.customers.services import add_contact, add_customer
from lab.environment.models import SpotReading
from lab.environment.services import record_spot_reading
from lab.equipment.entries import CalibratedEntry
from lab.equipment.models import Device
from lab.equipment.services import add_device, record_calibration
from lab.inspections.entries import ResultEntry
from lab.inspections.models import Result
from lab.inspections.services import finish_evaluation, record_results
from lab.jobs.models import Agreement, Job, JobItem, MeasuringSession
from lab.jobs.services import (
    book_job,
    end_session,
    receive_item,
    record_agreement,
    record_part_temperature,
    start_session,
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
from lab.lapses.services import judge_sessions_now
from lab.metrology.units import Quantity
from lab.parts.entries import CharacteristicEntry
from lab.parts.models import Characteristic, PartRevision
from lab.parts.services import add_part, record_revision

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
    """Record a calibration, current for the year of the tests."""
    values = [BAR_VALUE] if device.kind == "scale bar" else []
    return record_calibration(
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


# --- Around the jobs --------------------------------------------------------------


def check(
    lab: Lab, ended_at: datetime, *, off_um: float = 5.0, **changes: Any
) -> ArtefactCheck:
    """Check the system on the bar, recorded at once; beyond 54 µm off it fails."""
    length = f"{float(BAR_VALUE.value.value) + off_um / 1000:.4f}"
    with clock.set_to(ended_at):
        return record_check(
            **{
                "system": lab.system,
                "procedure": lab.procedure,
                "started_at": ended_at - timedelta(minutes=10),
                "ended_at": ended_at,
                "artefact_temperature": Quantity("20.0", "°C"),
                "thermometer": lab.thermometer,
                "readings": {
                    name: Quantity(length, "mm")
                    for name in lab.procedure.position_names
                },
                "form_key": f"{lab.system.pk}-{ended_at.isoformat()}"[:36],
                "acting_user": lab.people.technician,
            }
            | changes
        )


def void(lab: Lab, made: ArtefactCheck) -> None:
    void_check(
        check=made,
        cause="recording error",
        reason="The readings of another day were typed.",
        acting_user=lab.people.quality,
    )


def judge(job: Job) -> None:
    """Judge a job's sessions as a worker would."""
    judge_sessions_now(sessions=list(job.sessions.all()), acting_user=PROGRAM)


def read_room(lab: Lab, when: datetime, **changes: Any) -> SpotReading:
    with clock.set_to(when):
        return record_spot_reading(
            **{
                "room": lab.room,
                "sensor": lab.logger,
                "at": when,
                "temperature": Quantity("20.1", "°C"),
                "humidity": Quantity("46", "%"),
                "acting_user": lab.people.technician,
            }
            | changes
        )


# --- Steps of a job ---------------------------------------------------------------


def book(lab: Lab, **changes: Any) -> Job:
    return book_job(
        **{
            "customer": lab.customer,
            "contact": lab.contact,
            "order_number": "PO 4100",
            "part_revision": lab.revision,
            "room": lab.room,
            "serials": ["RR-1-700", "RR-1-701"],
            "acting_user": lab.people.coordinator,
        }
        | changes
    )


def agree(lab: Lab, job: Job, **changes: Any) -> Agreement:
    return record_agreement(
        **{
            "job": job,
            "asked": "Measure everything and state conformity.",
            "part_revision": lab.revision,
            "method": lab.method,
            "rule": lab.guarded,
            "agreed_with": lab.contact,
            "agreed_on": FOUNDED,
            "acting_user": lab.people.coordinator,
        }
        | changes
    )


def receive(lab: Lab, job: Job, **changes: Any) -> None:
    for item in job.items.all():
        receive_item(
            **{
                "item": item,
                "at": clock.now(),
                "condition": "Clean, no damage seen.",
                "place": "Soaking bench",
                "acting_user": lab.people.coordinator,
            }
            | changes
        )


def ready_job(lab: Lab, **changes: Any) -> Job:
    """Return a job that may be measured: booked, agreed, its items here."""
    with clock.set_to(at(8)):
        job = book(lab, **{k: v for k, v in changes.items() if k == "serials"})
        agree(lab, job, **{k: v for k, v in changes.items() if k != "serials"})
        receive(lab, job)
    return Job.objects.get(pk=job.pk)


def start(lab: Lab, job: Job, **changes: Any) -> MeasuringSession:
    return start_session(
        **{
            "job": job,
            "system": lab.system,
            "items": list(job.items.all()),
            "at": clock.now(),
            "acting_user": lab.people.technician,
        }
        | changes
    )


def measured_job(lab: Lab, **changes: Any) -> tuple[Job, MeasuringSession]:
    """Return a job that was measured from nine to eleven, and the session."""
    job = ready_job(lab, **changes)
    with clock.set_to(at(9)):
        session = start(lab, job)
        for item in job.items.all():
            record_part_temperature(
                item=item,
                session=session,
                at=at(9),
                temperature=Quantity("20.3", "°C"),
                thermometer=lab.thermometer,
                acting_user=lab.people.technician,
            )
    with clock.set_to(at(11)):
        end_session(session=session, at=at(11), acting_user=lab.people.technician)
    return Job.objects.get(pk=job.pk), MeasuringSession.objects.get(pk=session.pk)


def entry(item: JobItem, characteristic: Characteristic, **changes: Any) -> ResultEntry:
    """Return a good result of a characteristic of the part above."""
    value, u = {"1": ("1000.012", "0.040"), "2": ("0.031", "0.020")}.get(
        characteristic.number, ("90.012", "0.020")
    )
    form = characteristic.non_negative
    return ResultEntry(
        **{
            "item": item,
            "characteristic": characteristic,
            "unit": "°" if characteristic.is_angle else "mm",
            "value_text": value,
            "expanded_u_text": u,
            "coverage_factor_text": "2",
            "uncertainty_basis": "Components: noise, scale, temperatures, fit",
            "temperature_state": Result.TemperatureState.AT_REFERENCE,
            "number_of_points": 2400 if form else None,
            "filter_text": "none" if form else "",
            "association": "minimum zone" if form else "least squares",
            "software": "In-house evaluation 3.1",
        }
        | changes
    )


def entries(lab: Lab, job: Job, **changes: Any) -> list[ResultEntry]:
    return [
        entry(item, one, **changes)
        for item in job.items.order_by("position")
        for one in lab.characteristics.values()
    ]


def record(
    lab: Lab, job: Job, session: MeasuringSession, **changes: Any
) -> list[Result]:
    return record_results(
        **{
            "job": job,
            "session": session,
            "entries": entries(lab, job),
            "evaluated_by": lab.people.technician,
            "acting_user": lab.people.technician,
        }
        | changes
    )


def evaluated_job(lab: Lab, **changes: Any) -> Job:
    """Return a job whose results are recorded, decided and complete, at one o'clock."""
    job, session = measured_job(lab, **changes)
    with clock.set_to(at(13)):
        record(lab, job, session)
        finish_evaluation(job=job, acting_user=lab.people.technician)
    return Job.objects.get(pk=job.pk)


# --- Papers -----------------------------------------------------------------------


def certifiable_job(lab: Lab, **changes: Any) -> Job:
    """Return an evaluated job, its room read and its session bracketed by checks."""
    read_room(lab, at(8, 10))
    read_room(lab, at(10, 40), temperature=Quantity("20.4", "°C"))
    check(lab, at(8, 30))
    job = evaluated_job(lab, **changes)
    check(lab, at(12))
    return job


def draft(lab: Lab, job: Job, **changes: Any) -> Draft:
    return start_draft(
        **{
            "job": job,
            "items": list(job.items.order_by("position")),
            "title": "measurement_report",
            "deviations": "None.",
            "acting_user": lab.people.technician,
        }
        | changes
    )


def reviewed_draft(lab: Lab, job: Job, **changes: Any) -> Draft:
    """Return a draft that a third technician has approved."""
    made = draft(lab, job, **changes)
    submit_draft(draft=made, acting_user=lab.people.technician)
    return approve_draft(draft=made, acting_user=lab.people.technician3)


def issue(lab: Lab, reviewed: Draft) -> Certificate:
    return issue_certificate(draft=reviewed, acting_user=lab.people.signatory)


def certificate(lab: Lab, **changes: Any) -> Certificate:
    """Return a certificate, issued at two o'clock."""
    job = certifiable_job(lab)
    with clock.set_to(at(14)):
        return issue(lab, reviewed_draft(lab, job, **changes))


def abandon(lab: Lab, job: Job) -> None:
    """Give up the newest draft of a job."""
    newest = Draft.objects.filter(job=job).latest("pk")
    abandon_draft(draft=newest, acting_user=lab.people.technician)
