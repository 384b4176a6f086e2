"""Steps of a certificate, from the draft to its issue."""

from __future__ import annotations

from typing import Any

from lab.certificates.models import Certificate, Draft
from lab.certificates.services import (
    abandon_draft,
    approve_draft,
    issue_certificate,
    start_draft,
    submit_draft,
)
from lab.common import clock
from lab.jobs.models import Job
from lab.metrology.units import Quantity
from tests.chain.around import check, read_room
from tests.chain.founding import Lab, at
from tests.chain.jobs import evaluated_job
from tests.stages import staged


def certifiable_job(lab: Lab, **changes: Any) -> Job:
    """Return an evaluated job, its room read and its session bracketed by checks."""
    if not changes:
        return staged("certifiable job", lambda: _certifiable_job(lab))
    return _certifiable_job(lab, **changes)


def _certifiable_job(lab: Lab, **changes: Any) -> Job:
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
    if not changes:
        return staged(f"reviewed draft of {job.pk}", lambda: _reviewed(lab, job))
    return _reviewed(lab, job, **changes)


def _reviewed(lab: Lab, job: Job, **changes: Any) -> Draft:
    made = draft(lab, job, **changes)
    submit_draft(draft=made, acting_user=lab.people.technician)
    return approve_draft(draft=made, acting_user=lab.people.technician3)


def issue(lab: Lab, reviewed: Draft) -> Certificate:
    return issue_certificate(draft=reviewed, acting_user=lab.people.signatory)


def certificate(lab: Lab, **changes: Any) -> Certificate:
    """Return a certificate, issued at two o'clock."""
    if not changes:
        return staged("certificate", lambda: _certificate(lab))
    return _certificate(lab, **changes)


def _certificate(lab: Lab, **changes: Any) -> Certificate:
    job = certifiable_job(lab)
    with clock.set_to(at(14)):
        return issue(lab, reviewed_draft(lab, job, **changes))


def abandon(lab: Lab, job: Job) -> None:
    """Give up the newest draft of a job."""
    newest = Draft.objects.filter(job=job).latest("pk")
    abandon_draft(draft=newest, acting_user=lab.people.technician)
