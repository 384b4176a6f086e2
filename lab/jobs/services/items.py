"""Items: received, found to be so warm, returned."""

from __future__ import annotations

from datetime import datetime

from django.db import IntegrityError, transaction

from lab.accounts.models import User
from lab.common import audit, clock
from lab.common.errors import NotAcceptable, WrongState
from lab.common.services import service
from lab.common.texts import refuse_placeholder
from lab.equipment.models import Device, DeviceKind
from lab.jobs.models import (
    ItemReceipt,
    ItemReturn,
    JobItem,
    JobState,
    MeasuringSession,
    PartTemperature,
)
from lab.jobs.selectors import open_holds
from lab.jobs.services.bodies import BodyEntry, record_item_body
from lab.jobs.services.holds import raise_hold
from lab.jobs.states import (
    advance,
    lock_job,
    require_no_open_session,
    require_open,
)
from lab.metrology.units import Quantity


@service(may="jobs.receive")
def receive_item(
    *,
    item: JobItem,
    at: datetime,
    condition: str,
    place: str,
    damaged: bool = False,
    temperature: Quantity | None = None,
    body: BodyEntry | None = None,
    acting_user: User,
) -> ItemReceipt:
    """Record that an item came in. The first makes the job received; damage holds it.

    With ``body``, what its soak is predicted from is recorded as well.

    Raises
    ------
    NotAcceptable
        If a text is a placeholder, the time lies in the future, or no body is like
        that.
    WrongState
        If it was received already or the job is over.
    """
    clock.require_not_future(at)
    job = lock_job(item.job)
    require_open(job)
    try:
        with transaction.atomic():
            made = ItemReceipt.objects.create(
                item=item,
                at=at,
                condition=refuse_placeholder(condition, "condition"),
                place=refuse_placeholder(place, "place"),
                damaged=damaged,
                **ItemReceipt.temperature.columns(temperature),
                received_by=acting_user,
            )
    except IntegrityError:
        raise WrongState(f"{item.serial} was received already.") from None
    audit.record(
        "item.received",
        item,
        actor=acting_user,
        after={"at": at, "condition": made.condition, "damaged": damaged},
    )
    if job.state == JobState.BOOKED:
        advance(job, JobState.RECEIVED, actor=acting_user)
    if body is not None:
        record_item_body(item=item, body=body, acting_user=acting_user)
    if damaged:
        raise_hold(
            job=job,
            cause_key=f"damaged:item:{item.pk}",
            title=f"{item.serial} came in damaged",
            reason=f"{made.condition} Ask the customer how to go on.",
            acting_user=acting_user,
        )
    return made


@service(may="jobs.measure")
def record_part_temperature(
    *,
    item: JobItem,
    at: datetime,
    temperature: Quantity,
    thermometer: Device,
    session: MeasuringSession | None = None,
    place: str = "",
    acting_user: User,
) -> PartTemperature:
    """Record how warm an item is, by contact.

    Raises
    ------
    NotAcceptable
        If the time lies in the future or the device is no contact thermometer.
    WrongState
        If the item is not here.
    """
    clock.require_not_future(at)
    if thermometer.kind != DeviceKind.CONTACT_THERMOMETER:
        raise NotAcceptable(
            f"{thermometer.tag} is no contact thermometer.", field="thermometer"
        )
    if not ItemReceipt.objects.filter(item=item).exists():
        raise WrongState(f"{item.serial} has not been received.")
    made = PartTemperature.objects.create(
        item=item,
        session=session,
        at=at,
        **PartTemperature.temperature.columns(temperature),
        thermometer=thermometer,
        place=place.strip(),
        recorded_by=acting_user,
    )
    audit.record(
        "item.temperature_recorded",
        item,
        actor=acting_user,
        after={"at": at, "temperature": str(temperature), "by": thermometer.tag}
        | ({"place": made.place} if made.place else {}),
    )
    return made


@service(may="jobs.return")
def return_item(
    *,
    item: JobItem,
    at: datetime,
    condition: str,
    handed_to: str,
    reason: str = "",
    acting_user: User,
) -> ItemReturn:
    """Record that an item left. When all have, the job is returned.

    Raises
    ------
    NotAcceptable
        If a text is a placeholder, or the job is on hold and no reason is given.
    WrongState
        If it is not here, or somebody still measures.
    """
    clock.require_not_future(at)
    job = lock_job(item.job)
    require_no_open_session(job)
    if not ItemReceipt.objects.filter(item=item).exists():
        raise WrongState(f"{item.serial} was never received.")
    if open_holds(job).exists():
        reason = refuse_placeholder(reason, "reason")
    try:
        with transaction.atomic():
            made = ItemReturn.objects.create(
                item=item,
                at=at,
                condition=refuse_placeholder(condition, "condition"),
                handed_to=refuse_placeholder(handed_to, "handed_to"),
                returned_by=acting_user,
            )
    except IntegrityError:
        raise WrongState(f"{item.serial} was returned already.") from None
    audit.record(
        "item.returned",
        item,
        actor=acting_user,
        reason=reason,
        after={"at": at, "handed_to": made.handed_to},
    )
    if not job.items.filter(returning=None).exists():
        advance(job, JobState.RETURNED, actor=acting_user, reason=reason)
    return made
