"""Who issued, for whom, where, of what: the head of a certificate."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any
from zoneinfo import ZoneInfo

from lab.certificates.snapshot.words import day_text
from lab.jobs.models import Agreement, Job, JobItem, MeasuringSession
from lab.laboratory.models import Room, Site
from lab.laboratory.selectors import the_laboratory


def laboratory() -> dict[str, Any]:
    found = the_laboratory()
    if found is None:
        return {}
    return {
        "name": found.name,
        "address": found.address_lines,
        "email": found.email,
        "phone": found.phone,
        "accreditation": found.accreditation,
        "country": found.country,
    }


def paper() -> str:
    """Return the size of sheet that the laboratory prints on."""
    found = the_laboratory()
    return found.paper if found else ""


def places_of_work(
    job: Job, sessions: Sequence[MeasuringSession]
) -> list[dict[str, Any]]:
    """Return each site with the rooms in which the work was done (R06)."""
    rooms: list[Room] = [session.room for session in sessions] or [job.room]
    sites: dict[int, Site] = {room.site_id: room.site for room in rooms}
    return [
        {
            "name": site.name,
            "address": site.address_lines,
            "rooms": sorted({room.name for room in rooms if room.site_id == pk}),
            "kind": site.kind,
        }
        for pk, site in sites.items()
    ]


def customer(job: Job) -> dict[str, Any]:
    return {
        "name": job.customer.name,
        "address": job.customer.address_lines,
        "contact": job.contact.name,
        "contact_email": job.contact.email,
        "contact_phone": job.contact.phone,
        "order": job.order_number,
    }


def part(job: Job) -> dict[str, str]:
    revision = job.part_revision
    return {
        "number": revision.part.number,
        "name": revision.part.name,
        "revision": revision.revision,
        "material": revision.material,
    }


def item(one: JobItem, job: Job, zone: ZoneInfo) -> dict[str, str]:
    """Return what an item is and how it came in (R10, R11)."""
    receipt = getattr(one, "receipt", None)
    came = receipt.at.astimezone(zone).date() if receipt else None
    named = job.part_revision.part
    return {
        "serial": one.serial,
        "description": f"{named.name}, {named.number} revision "
        f"{job.part_revision.revision}",
        "condition": receipt.condition if receipt else "",
        "received_on": day_text(came) if came else "",
    }


def method(agreement: Agreement | None) -> dict[str, str]:
    if agreement is None:
        return {}
    revision = agreement.method
    return {
        "code": revision.method.code,
        "title": revision.method.title,
        "revision": revision.revision,
        "reference_document": revision.reference_document,
        "text": f"{revision.method.code} {revision.method.title}, revision "
        f"{revision.revision}",
    }


def agreed(agreement: Agreement | None) -> dict[str, Any]:
    if agreement is None:
        return {"states_conformity": False, "sampled": False}
    return {
        "number": str(agreement.number),
        "agreed_on": day_text(agreement.agreed_on),
        "agreed_with": agreement.agreed_with.name,
        "states_conformity": agreement.states_conformity,
        "sampled": bool(agreement.sampling),
    }


def supplied_by_customer(job: Job) -> list[str]:
    """Return which of the printed data are the customer's (R21)."""
    revision = job.part_revision
    drawing = f"drawing {revision.part.number} revision {revision.revision}"
    return [
        f"{drawing} with its nominal values and tolerances",
        f"the material ({revision.material})",
        "the serial numbers of the items",
    ]
