"""Every write about devices and their status."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from django.core.exceptions import ValidationError
from django.core.validators import validate_slug

from lab.accounts.models import User
from lab.common import audit, clock
from lab.common.errors import NotAcceptable
from lab.common.services import service
from lab.common.texts import optional_text, refuse_placeholder
from lab.common.work import enqueue
from lab.equipment.models import Device, DeviceKind, DeviceStatus
from lab.laboratory.models import Room
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
    columns = _device_columns(name, serial, maker, type_name, laser_class, notes)
    columns |= {"tag": _clean_tag(tag), "kind": kind, "room": room}
    columns["firmware"] = optional_text(firmware, "firmware")
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
    expansion: Quantity | None = None,
    expansion_u: Quantity | None = None,
    laser_class: str = "",
    notes: str = "",
    acting_user: User,
) -> Device:
    """Change what is known of a device; tag and kind stay.

    Firmware and room have a history and breaks that go with it: both change by
    :func:`lab.equipment.services.log_event` only.

    Raises
    ------
    NotAcceptable
        See :func:`add_device`.
    """
    device = Device.objects.select_for_update().get(pk=device.pk)
    columns = _device_columns(name, serial, maker, type_name, laser_class, notes)
    columns |= _expansion_columns(device.kind, expansion, expansion_u)
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
    restriction: str = "",
    at: datetime | None = None,
    acting_user: User,
) -> DeviceStatus:
    """Take a device out of service, restrict it, or put it back.

    Raises
    ------
    NotAcceptable
        If the reason is missing, the time lies in the future, or it is restricted and
        nobody says how (or the other way round).
    """
    at = at or clock.now()
    clock.require_not_future(at)
    if status not in DeviceStatus.Status:
        raise NotAcceptable(f"“{status}” is no status.", field="status")
    made = DeviceStatus.objects.create(
        device=device,
        status=status,
        reason=refuse_placeholder(reason, "reason"),
        restriction=_restriction(status, restriction),
        at=at,
        recorded_by=acting_user,
    )
    audit.record(
        "device.status_set",
        device,
        actor=acting_user,
        reason=made.reason,
        after={"status": status, "restriction": made.restriction, "at": at},
    )
    enqueue("lapses.judge_device", device.pk)
    return made


def _restriction(status: str, said: str) -> str:
    if status == DeviceStatus.Status.RESTRICTED:
        return refuse_placeholder(said, "restriction")
    if said.strip():
        raise NotAcceptable(
            "A restriction goes with the status “restricted” only. Choose that status, "
            "or leave this empty.",
            field="restriction",
        )
    return ""


#: Words that stand in the register's own addresses, where a tag would.
RESERVED = frozenset(
    "add due labels calendar reminders intervals providers calibrations".split()  # noqa: SIM905 - as a list it is eight lines
)


def _clean_tag(tag: str) -> str:
    tidy = tag.strip()
    if tidy.lower() in RESERVED:
        raise NotAcceptable(
            f"“{tidy}” is a word of the register itself. Choose another tag.",
            field="tag",
        )
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
    laser_class: str,
    notes: str,
) -> dict[str, Any]:
    return {
        "name": refuse_placeholder(name, "name"),
        "serial": refuse_placeholder(serial, "serial"),
        "maker": optional_text(maker, "maker"),
        "type_name": optional_text(type_name, "type_name"),
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
