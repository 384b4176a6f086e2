"""Booking, moving and cancelling jobs."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from datetime import date

from lab.accounts.models import User
from lab.common import audit, clock
from lab.common.errors import NotAcceptable
from lab.common.services import service
from lab.common.texts import refuse_placeholder
from lab.customers.models import Contact, Customer
from lab.jobs.models import Job, JobItem, JobState
from lab.jobs.states import advance, lock_job, require_no_open_session
from lab.laboratory.models import Room, Series
from lab.laboratory.numbers import take_number, year_at
from lab.parts.models import PartRevision

MOST_ITEMS = 200


@service(may="jobs.book")
def book_job(
    *,
    customer: Customer,
    contact: Contact,
    order_number: str,
    part_revision: PartRevision,
    room: Room,
    serials: Sequence[str],
    unit: str = Job.Unit.MILLIMETRE,
    wanted_on: date | None = None,
    acting_user: User,
) -> Job:
    """Book a job for one or more items of one part revision, under a number of ours.

    Raises
    ------
    NotAcceptable
        If contact or part belong to another customer, the revision is corrected by
        a later recording, a serial is missing, doubled or a placeholder.
    """
    _check_belongs(customer, contact, part_revision)
    names = _clean_serials(serials)
    job = Job.objects.create(
        number=take_number(Series.JOB, year_at(room.site)),
        customer=customer,
        contact=contact,
        order_number=refuse_placeholder(order_number, "order_number"),
        part_revision=part_revision,
        room=room,
        unit=Job.Unit(unit),
        wanted_on=wanted_on,
        booked_by=acting_user,
        created_at=clock.now(),
    )
    JobItem.objects.bulk_create(
        JobItem(job=job, position=position, serial=serial)
        for position, serial in enumerate(names, start=1)
    )
    audit.record(
        "job.booked",
        job,
        actor=acting_user,
        after={
            "customer": customer.name,
            "order": job.order_number,
            "part": str(part_revision),
            "items": names,
            "wanted_on": wanted_on,
        },
    )
    return job


@service(may="jobs.measure")
def move_job(*, job: Job, to: str, reason: str = "", acting_user: User) -> Job:
    """Move a job to a state that may follow its present one.

    Raises
    ------
    WrongState
        If it doesn't follow, a session is still open, or somebody was first.
    """
    job = lock_job(job)
    target = JobState(to)
    if target in {JobState.EVALUATED, JobState.RETURNED}:
        require_no_open_session(job)
    advance(job, target, actor=acting_user, reason=reason)
    return job


@service(may="jobs.cancel")
def cancel_job(*, job: Job, reason: str, acting_user: User) -> Job:
    """Cancel a job that was not measured; its number is not given again.

    Raises
    ------
    WrongState
        If measuring has begun or the job is over.
    """
    job = lock_job(job)
    advance(
        job,
        JobState.CANCELLED,
        actor=acting_user,
        reason=refuse_placeholder(reason, "reason"),
    )
    return job


def _check_belongs(
    customer: Customer, contact: Contact, part_revision: PartRevision
) -> None:
    if contact.customer_id != customer.pk or not contact.in_use:
        raise NotAcceptable(
            f"{contact.name} is no contact of {customer.name}.", field="contact"
        )
    if part_revision.part.customer_id != customer.pk:
        raise NotAcceptable(
            f"{part_revision.part.number} is no part of {customer.name}.",
            field="part_revision",
        )
    if PartRevision.objects.filter(supersedes=part_revision).exists():
        raise NotAcceptable(
            "This recording of the drawing was corrected. Choose the one in force.",
            field="part_revision",
        )


def _clean_serials(serials: Sequence[str]) -> list[str]:
    names = [
        refuse_placeholder(serial, "serials") for serial in serials if serial.strip()
    ]
    if not names:
        raise NotAcceptable(
            "A job has at least one item, told from others by its serial or tag.",
            field="serials",
        )
    if len(names) > MOST_ITEMS:
        raise NotAcceptable(
            f"{len(names)} items are more than the {MOST_ITEMS} of one job.",
            field="serials",
        )
    twice = [name for name, count in Counter(names).items() if count > 1]
    if twice:
        raise NotAcceptable(f"{twice[0]} stands there twice.", field="serials")
    return names
