"""Steps of a job, from its booking to complete results."""

from __future__ import annotations

from typing import Any

from lab.common import clock
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
from lab.metrology.units import Quantity
from lab.parts.models import Characteristic
from tests.chain.founding import FOUNDED, Lab, at
from tests.stages import staged


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
    if not changes:
        return staged("measured job", lambda: _measured_job(lab))
    return _measured_job(lab, **changes)


def _measured_job(lab: Lab, **changes: Any) -> tuple[Job, MeasuringSession]:
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
