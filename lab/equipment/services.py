"""Every write about devices, their status and their calibrations."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime
from typing import Any

from django.core.exceptions import ValidationError
from django.core.validators import validate_slug
from django.db import IntegrityError, transaction

from lab.accounts.models import User
from lab.common import audit, clock
from lab.common.errors import NotAcceptable, WrongState
from lab.common.files.models import StoredFile
from lab.common.services import service
from lab.common.texts import optional_text, refuse_placeholder
from lab.common.work import enqueue
from lab.equipment.entries import CalibratedEntry
from lab.equipment.models import (
    CalibratedValue,
    Calibration,
    Device,
    DeviceKind,
    DeviceStatus,
)
from lab.laboratory.models import Room
from lab.laboratory.selectors import home_zone
from lab.metrology.units import Quantity


@service(may="equipment.change")
def add_device(
    *,
    tag: str,
    kind: str,
    name: str,
    serial: str,
    maker: str = "",
    type_name: str = "",
    firmware: str = "",
    room: Room | None = None,
    expansion: Quantity | None = None,
    expansion_u: Quantity | None = None,
    laser_class: str = "",
    notes: str = "",
    acting_user: User,
) -> Device:
    """Add a device under the lab's own tag.

    Raises
    ------
    NotAcceptable
        If the tag is taken or no tag, a text is a placeholder, or an artefact comes
        without its coefficient of expansion.
    """
    if kind not in DeviceKind:
        raise NotAcceptable(f"“{kind}” is no kind of device.", field="kind")
    columns = _device_columns(
        name, serial, maker, type_name, firmware, laser_class, notes
    )
    columns |= {"tag": _clean_tag(tag), "kind": kind, "room": room}
    columns |= _expansion_columns(kind, expansion, expansion_u)
    if Device.objects.filter(tag__iexact=columns["tag"]).exists():
        raise NotAcceptable(f"The tag {tag} is taken.", field="tag")
    device = Device.objects.create(**columns)
    audit.record("device.added", device, actor=acting_user, after=_described(columns))
    return device


@service(may="equipment.change")
def change_device(
    *,
    device: Device,
    name: str,
    serial: str,
    maker: str = "",
    type_name: str = "",
    firmware: str = "",
    room: Room | None = None,
    expansion: Quantity | None = None,
    expansion_u: Quantity | None = None,
    laser_class: str = "",
    notes: str = "",
    acting_user: User,
) -> Device:
    """Change what is known of a device; tag and kind stay.

    Raises
    ------
    NotAcceptable
        See :func:`add_device`.
    """
    device = Device.objects.select_for_update().get(pk=device.pk)
    columns = _device_columns(
        name, serial, maker, type_name, firmware, laser_class, notes
    )
    columns |= {"room": room} | _expansion_columns(device.kind, expansion, expansion_u)
    before = {column: getattr(device, column) for column in columns}
    changed = [column for column in columns if before[column] != columns[column]]
    if not changed:
        audit.nothing_changed()
        return device
    for column in changed:
        setattr(device, column, columns[column])
    device.save(update_fields=changed)
    audit.record(
        "device.changed",
        device,
        actor=acting_user,
        before=_described({column: before[column] for column in changed}),
        after=_described({column: columns[column] for column in changed}),
    )
    return device


@service(may="equipment.change")
def set_status(
    *,
    device: Device,
    status: str,
    reason: str,
    at: datetime | None = None,
    acting_user: User,
) -> DeviceStatus:
    """Take a device out of service, restrict it, or put it back.

    Raises
    ------
    NotAcceptable
        If the reason is missing or the time lies in the future.
    """
    at = at or clock.now()
    clock.require_not_future(at)
    if status not in DeviceStatus.Status:
        raise NotAcceptable(f"“{status}” is no status.", field="status")
    made = DeviceStatus.objects.create(
        device=device,
        status=status,
        reason=refuse_placeholder(reason, "reason"),
        at=at,
        recorded_by=acting_user,
    )
    audit.record(
        "device.status_set",
        device,
        actor=acting_user,
        reason=made.reason,
        after={"status": status, "at": at},
    )
    return made


@service(may="calibrations.record")
def record_calibration(
    *,
    device: Device,
    calibrated_on: date,
    counts_from: date,
    due_on: date,
    certificate_number: str,
    provider: str,
    requirement_met: bool,
    values: Sequence[CalibratedEntry] = (),
    accreditation: str = "",
    document: StoredFile | None = None,
    adjusted: bool = False,
    notes: str = "",
    supersedes: Calibration | None = None,
    acting_user: User,
) -> Calibration:
    """Record a calibration as its certificate states it. It is frozen from then on.

    Sessions whose chain holds the device are judged again: a due day may have moved
    into one of them, or out of it.

    Raises
    ------
    NotAcceptable
        If the days are out of order or in the future, an artefact has no value, or a
        value makes no sense.
    WrongState
        If the certificate is recorded already, or corrected meanwhile.
    """
    _check_days(calibrated_on, counts_from, due_on)
    if device.is_artefact and not values:
        raise NotAcceptable(
            "An artefact's calibration has at least one value: the checks need it.",
            field="values",
        )
    columns = [entry.columns() for entry in values]
    try:
        with transaction.atomic():
            made = Calibration.objects.create(
                device=device,
                calibrated_on=calibrated_on,
                counts_from=counts_from,
                due_on=due_on,
                certificate_number=refuse_placeholder(
                    certificate_number, "certificate_number"
                ),
                provider=refuse_placeholder(provider, "provider"),
                accreditation=optional_text(accreditation, "accreditation"),
                document=document,
                adjusted=adjusted,
                requirement_met=requirement_met,
                notes=notes.strip(),
                supersedes=supersedes,
                recorded_by=acting_user,
            )
    except IntegrityError:
        raise WrongState(
            f"Certificate {certificate_number} is recorded for {device.tag} already. "
            "Correct that recording if it is wrong."
        ) from None
    for values_of_one in columns:
        CalibratedValue.objects.create(calibration=made, **values_of_one)
    audit.record(
        "calibration.recorded",
        made,
        actor=acting_user,
        after=_described(
            {
                "counts_from": counts_from,
                "due_on": due_on,
                "requirement_met": requirement_met,
                "supersedes": supersedes and supersedes.pk,
                "values": columns,
            }
        ),
    )
    enqueue("lapses.judge_device", device.pk)
    return made


def _check_days(calibrated_on: date, counts_from: date, due_on: date) -> None:
    today = clock.today(home_zone())
    if calibrated_on > today:
        raise NotAcceptable(
            "The day of calibration lies in the future.", field="calibrated_on"
        )
    if counts_from < calibrated_on:
        raise NotAcceptable(
            "Values can't count from before the day of calibration.",
            field="counts_from",
        )
    if due_on < counts_from:
        raise NotAcceptable(
            "The last day on which it is current lies before the first.",
            field="due_on",
        )


def _clean_tag(tag: str) -> str:
    tidy = tag.strip()
    try:
        validate_slug(tidy)
    except ValidationError:
        raise NotAcceptable(
            "A tag holds letters, digits, hyphens and underscores only: it is printed "
            "on the label and stands in the address.",
            field="tag",
        ) from None
    return tidy


def _device_columns(
    name: str,
    serial: str,
    maker: str,
    type_name: str,
    firmware: str,
    laser_class: str,
    notes: str,
) -> dict[str, Any]:
    return {
        "name": refuse_placeholder(name, "name"),
        "serial": refuse_placeholder(serial, "serial"),
        "maker": optional_text(maker, "maker"),
        "type_name": optional_text(type_name, "type_name"),
        "firmware": optional_text(firmware, "firmware"),
        "laser_class": laser_class.strip(),
        "notes": notes.strip(),
    }


def _expansion_columns(
    kind: str, expansion: Quantity | None, expansion_u: Quantity | None
) -> dict[str, Any]:
    if Device(kind=kind).is_artefact and (expansion is None or expansion_u is None):
        raise NotAcceptable(
            "An artefact needs its coefficient of expansion and how well that is "
            "known: its length is brought to its temperature by them.",
            field="expansion" if expansion is None else "expansion_u",
        )
    if expansion_u is not None and expansion_u.value < 0:
        raise NotAcceptable("An uncertainty can't be below zero.", field="expansion_u")
    return {
        **Device.expansion.columns(expansion),
        **Device.expansion_u.columns(expansion_u),
    }


def _described(columns: dict[str, Any]) -> dict[str, Any]:
    """Return columns as the audit keeps them: a record by its words."""
    return {
        name: str(value) if isinstance(value, Room) else value
        for name, value in columns.items()
    }
