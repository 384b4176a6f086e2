"""Every write about devices that are sent away, and what stands in for them."""

from __future__ import annotations

from datetime import date

from lab.accounts.models import User
from lab.common import audit, clock
from lab.common.errors import NotAcceptable, WrongState
from lab.common.services import service
from lab.common.texts import optional_text, refuse_placeholder
from lab.common.work import enqueue
from lab.equipment.models import Device, Dispatch, DispatchReturn, Provider, StandIn
from lab.laboratory.selectors import home_zone

LONGEST_LEAD_DAYS = 365


@service(may="calibrations.record")
def keep_provider(
    *,
    name: str,
    lead_days: int,
    accreditation: str = "",
    notes: str = "",
    acting_user: User,
) -> Provider:
    """Add a calibration laboratory, or change what is known of one by its name.

    Raises
    ------
    NotAcceptable
        If the name is a placeholder or the lead time makes no sense.
    """
    if not 0 <= lead_days <= LONGEST_LEAD_DAYS:
        raise NotAcceptable(
            f"A lead time has 0 to {LONGEST_LEAD_DAYS} days.", field="lead_days"
        )
    tidy = refuse_placeholder(name, "name")
    after = {
        "accreditation": optional_text(accreditation, "accreditation"),
        "lead_days": lead_days,
        "notes": notes.strip(),
    }
    known = Provider.objects.select_for_update().filter(name__iexact=tidy).first()
    before = {column: getattr(known, column) for column in after} if known else None
    if before == after and known is not None:
        audit.nothing_changed()
        return known
    if known is None:
        known = Provider.objects.create(name=tidy, **after)
    else:
        for column, value in after.items():
            setattr(known, column, value)
        known.save(update_fields=list(after))
    audit.record("provider.kept", known, actor=acting_user, before=before, after=after)
    return known


@service(may="calibrations.record")
def send_out(
    *,
    device: Device,
    provider: Provider,
    sent_on: date,
    carrier: str,
    purpose: str,
    expected_back: date,
    acting_user: User,
) -> Dispatch:
    """Send a device away. It is out of use until somebody records its return.

    Raises
    ------
    NotAcceptable
        If the days are out of order or in the future.
    WrongState
        If it is away already.
    """
    Device.objects.select_for_update().get(pk=device.pk)
    if Dispatch.objects.filter(device=device, came_back=None).exists():
        raise WrongState(f"{device.tag} is away already. Record its return first.")
    _require_past(sent_on, "sent_on")
    if expected_back < sent_on:
        raise NotAcceptable(
            "It can't be expected back before it is sent.", field="expected_back"
        )
    made = Dispatch.objects.create(
        device=device,
        provider=provider,
        sent_on=sent_on,
        expected_back=expected_back,
        carrier=refuse_placeholder(carrier, "carrier"),
        purpose=refuse_placeholder(purpose, "purpose"),
        sent_by=acting_user,
    )
    audit.record(
        "device.sent_out",
        device,
        actor=acting_user,
        reason=made.purpose,
        after={
            "provider": provider.name,
            "sent_on": sent_on,
            "expected_back": expected_back,
            "carrier": made.carrier,
        },
    )
    enqueue("lapses.judge_device", device.pk)
    enqueue("jobs.device_calibrated", device.pk)
    return made


@service(may="calibrations.record")
def bring_back(
    *, device: Device, returned_on: date, condition: str, acting_user: User
) -> DispatchReturn:
    """Record that a device came back, and in which condition.

    Raises
    ------
    WrongState
        If it isn't away.
    NotAcceptable
        If the day lies before it was sent, or in the future.
    """
    Device.objects.select_for_update().get(pk=device.pk)
    away = Dispatch.objects.filter(device=device, came_back=None).first()
    if away is None:
        raise WrongState(f"{device.tag} is not away.")
    _require_past(returned_on, "returned_on")
    if returned_on < away.sent_on:
        raise NotAcceptable(
            f"It was sent on {away.sent_on}; it can't be back before.",
            field="returned_on",
        )
    made = DispatchReturn.objects.create(
        dispatch=away,
        returned_on=returned_on,
        condition=refuse_placeholder(condition, "condition"),
        received_by=acting_user,
    )
    audit.record(
        "device.came_back",
        device,
        actor=acting_user,
        after={"returned_on": returned_on, "condition": made.condition},
    )
    return made


@service(may="equipment.change")
def name_stand_in(
    *, device: Device, stand_in: Device, difference: str = "", acting_user: User
) -> StandIn:
    """Say that a device can take another's place.

    Raises
    ------
    NotAcceptable
        If it is the same device, or one of another kind.
    """
    if device == stand_in or device.kind != stand_in.kind:
        raise NotAcceptable(
            f"Another {device.get_kind_display().lower()} can stand in for "
            f"{device.tag}; {stand_in.tag} is none.",
            field="stand_in",
        )
    made, is_new = StandIn.objects.get_or_create(
        device=device,
        stand_in=stand_in,
        defaults={"difference": optional_text(difference, "difference")},
    )
    if not is_new:
        audit.nothing_changed()
        return made
    audit.record(
        "device.stand_in_named",
        device,
        actor=acting_user,
        after={"stand_in": stand_in.tag, "difference": made.difference},
    )
    return made


@service(may="equipment.change")
def drop_stand_in(*, stand_in: StandIn, acting_user: User) -> None:
    """Take back that a device can take another's place."""
    audit.record(
        "device.stand_in_dropped",
        stand_in.device,
        actor=acting_user,
        before={"stand_in": stand_in.stand_in.tag, "difference": stand_in.difference},
    )
    stand_in.delete()


def _require_past(day: date, field: str) -> None:
    if day > clock.today(home_zone()):
        raise NotAcceptable("This day lies in the future.", field=field)
