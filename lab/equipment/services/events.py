"""Every write about a device's log and its planned maintenance."""

from __future__ import annotations

from datetime import date, datetime
from typing import Any

from lab.accounts.models import User
from lab.common import audit, clock
from lab.common.errors import NotAcceptable, WrongState
from lab.common.services import service
from lab.common.texts import refuse_placeholder
from lab.common.work import enqueue
from lab.equipment.models import ALWAYS_BREAKING, Device, DeviceEvent, MaintenanceTask
from lab.equipment.services.devices import set_status
from lab.laboratory.models import Room

Kind = DeviceEvent.Kind


@service(may="equipment.change")
def log_event(
    *,
    device: Device,
    kind: str,
    at: datetime,
    note: str,
    task: MaintenanceTask | None = None,
    firmware: str = "",
    room: Room | None = None,
    may_measure_differently: bool = False,
    take_out: bool = False,
    acting_user: User,
) -> DeviceEvent:
    """Write down what was done to a device or befell it, with what it changed.

    Whatever may let the device measure differently is made a break of every system
    that has it: that is wanted in the same transaction, so that no repair stands in
    a log without its break. The same event sent twice is kept once.

    Raises
    ------
    NotAcceptable
        If the kind is none, the time lies in the future, the note is missing, or what
        the kind changes (version, room) is missing or is what it was.
    """
    clock.require_not_future(at)
    if kind not in Kind:
        raise NotAcceptable(f"“{kind}” is no kind of event.", field="kind")
    device = Device.objects.select_for_update().get(pk=device.pk)
    said = {"kind": kind, "at": at, "note": refuse_placeholder(note, "note")}
    earlier = device.events.filter(**said).first()
    if earlier is not None:
        audit.nothing_changed()
        return earlier
    made = DeviceEvent.objects.create(
        device=device,
        task=_task_of(device, kind, task),
        may_measure_differently=kind in ALWAYS_BREAKING or may_measure_differently,
        recorded_by=acting_user,
        **said,
        **_changes(device, kind, at, firmware, room),
    )
    audit.record(
        "device.event_logged",
        device,
        actor=acting_user,
        reason=made.note,
        after={
            "kind": kind,
            "at": at,
            "firmware": made.firmware_after,
            "room": made.room_after and str(made.room_after),
            "may_measure_differently": made.may_measure_differently,
        },
    )
    if made.may_measure_differently:
        enqueue("checks.break_systems", made.pk)
    if take_out:
        set_status(
            device=device,
            status="out of service",
            reason=made.note,
            at=at,
            acting_user=acting_user,
        )
    return made


def _task_of(
    device: Device, kind: str, task: MaintenanceTask | None
) -> MaintenanceTask | None:
    if task is None:
        return None
    if kind != Kind.MAINTENANCE or task.device_id != device.pk:
        raise NotAcceptable(
            "Planned work is done by an entry of the kind maintenance, of its device.",
            field="task",
        )
    return task


def _changes(
    device: Device, kind: str, at: datetime, firmware: str, room: Room | None
) -> dict[str, Any]:
    """Return what an event changes of a device, before and after; and change it."""
    if kind == Kind.FIRMWARE:
        return _firmware_change(device, at, firmware)
    if kind == Kind.MOVE:
        return _move(device, at, room)
    if firmware.strip() or room is not None:
        raise NotAcceptable(
            "A new version or room goes with an entry of its own kind. Leave this "
            "empty, or choose that kind.",
            field="firmware" if firmware.strip() else "room",
        )
    return {}


def _firmware_change(device: Device, at: datetime, said: str) -> dict[str, Any]:
    version = refuse_placeholder(said, "firmware")
    if version == device.firmware:
        raise NotAcceptable(f"It is {version} already.", field="firmware")
    _require_newest(device, Kind.FIRMWARE, at)
    before, device.firmware = device.firmware, version
    device.save(update_fields=["firmware"])
    return {"firmware_before": before, "firmware_after": version}


def _move(device: Device, at: datetime, room: Room | None) -> dict[str, Any]:
    if room is None:
        raise NotAcceptable("Say which room it was moved to.", field="room")
    if room == device.room:
        raise NotAcceptable(f"It belongs to {room.name} already.", field="room")
    _require_newest(device, Kind.MOVE, at)
    before, device.room = device.room, room
    device.save(update_fields=["room"])
    return {"room_before": before, "room_after": room}


def _require_newest(device: Device, kind: str, at: datetime) -> None:
    """Refuse a change told out of turn: what holds now is what the newest says."""
    if device.events.filter(kind=kind, at__gt=at).exists():
        raise NotAcceptable(
            "A later change of the same kind is in the log already. Give a time after "
            "it, or log this with the kind modification.",
            field="at",
        )


@service(may="equipment.change")
def plan_maintenance(
    *,
    device: Device,
    title: str,
    every_days: int,
    first_due_on: date,
    instructions: str = "",
    acting_user: User,
) -> MaintenanceTask:
    """Plan work that comes round every so many days.

    Raises
    ------
    NotAcceptable
        If the title is missing, planned already, or the days make no interval.
    """
    tidy = refuse_placeholder(title, "title")
    if not 1 <= every_days <= 3660:
        raise NotAcceptable(
            "Between one day and ten years (3660 days).", field="every_days"
        )
    planned = device.maintenance_tasks.filter(is_ended=False)
    if planned.filter(title__iexact=tidy).exists():
        raise NotAcceptable(f"“{tidy}” is planned already.", field="title")
    made = MaintenanceTask.objects.create(
        device=device,
        title=tidy,
        instructions=instructions.strip(),
        every_days=every_days,
        first_due_on=first_due_on,
    )
    after = {"title": tidy, "every_days": every_days, "first_due_on": first_due_on}
    audit.record("device.maintenance_planned", device, actor=acting_user, after=after)
    return made


@service(may="equipment.change")
def end_maintenance(*, task: MaintenanceTask, acting_user: User) -> None:
    """Take planned work off the plan; what was done stays in the log.

    Raises
    ------
    WrongState
        If it is off the plan already.
    """
    planned = MaintenanceTask.objects.filter(pk=task.pk, is_ended=False)
    if planned.update(is_ended=True) != 1:
        raise WrongState(f"“{task.title}” is off the plan already.")
    audit.record(
        "device.maintenance_ended",
        task.device,
        actor=acting_user,
        before={"title": task.title, "every_days": task.every_days},
    )
