"""What was found out later about a device or a system, written down for good."""

from __future__ import annotations

from datetime import datetime, time

from django.db import transaction

from lab.accounts.models import User
from lab.checks.locks import lock_systems
from lab.checks.models import MeasuringSystem
from lab.common import audit, clock
from lab.common.actors import Actor
from lab.common.errors import NotAcceptable
from lab.common.services import service
from lab.common.texts import refuse_placeholder
from lab.common.work import enqueue
from lab.equipment.models import Calibration, Device
from lab.laboratory.selectors import home_zone
from lab.lapses.as_found import what_was_found
from lab.lapses.models import LaterFinding
from lab.lapses.selectors import systems_of_device


@service(may="suspicions.record")
def record_later_finding(
    *,
    device: Device | None = None,
    system: MeasuringSystem | None = None,
    kind: str,
    since: datetime,
    until: datetime,
    reason: str,
    acting_user: User,
) -> LaterFinding:
    """Record that a device or a system did not measure right over a period.

    All that was measured with it in that time becomes suspect; so does what a check
    opened or closed that leant on the device. The same entered twice is kept once.

    Raises
    ------
    NotAcceptable
        If it is about both or neither, the kind is none, the times are out of order
        or in the future, or the reason is missing.
    """
    if (device is None) == (system is None):
        raise NotAcceptable("Name one device, or one measuring system.", field="device")
    if kind not in LaterFinding.Kind:
        raise NotAcceptable(f"“{kind}” is no kind of finding.", field="kind")
    clock.require_not_future(until, field="until")
    if until <= since:
        raise NotAcceptable("The period ends before it begins.", field="until")
    text = refuse_placeholder(reason, "reason")
    said = {
        "device": device,
        "system": system,
        "kind": kind,
        "since": since,
        "until": until,
        "reason": text,
    }
    lock_systems([system] if system else systems_of_device(device))  # type: ignore[arg-type]
    earlier = LaterFinding.objects.filter(**said).first()
    if earlier is not None:
        audit.nothing_changed()
        return earlier
    return _keep(LaterFinding(recorded_by=acting_user, **said), acting_user)


@service
def record_from_calibrations(
    *, device: Device, acting_user: Actor
) -> list[LaterFinding]:
    """Record a finding for each calibration that found a device out of tolerance.

    It covers the time since the calibration before: until then it was known to be
    right. Each calibration is looked at once; asking again changes nothing.
    """
    lock_systems(systems_of_device(device))
    rows = device.calibrations.filter(superseded_by=None)
    calibrations = list(
        rows.select_related("acceptance", "device").order_by("calibrated_on", "pk")
    )
    made = []
    for before, one in zip([None, *calibrations], calibrations, strict=False):
        if one.requirement_met and not one.is_decided:
            continue
        found = what_was_found(one, before)
        if found is None or LaterFinding.objects.filter(calibration=one).exists():
            continue
        since, until = _period(before, one)
        if since < until:
            row = LaterFinding(
                device=device,
                kind=found.kind,
                since=since,
                until=until,
                reason=found.reason,
                calibration=one,
            )
            made.append(_keep(row, acting_user))
    if not made:
        audit.nothing_changed()
    return made


def _period(before: Calibration | None, one: Calibration) -> tuple[datetime, datetime]:
    """Return from the day of the calibration before to the day of this one."""
    zone = home_zone()
    first = before.calibrated_on if before is not None else one.device.created_at.date()
    since = datetime.combine(first, time.min, tzinfo=zone)
    until = min(clock.end_of_day(one.calibrated_on, zone), clock.now())
    return since, until


def _keep(row: LaterFinding, actor: Actor) -> LaterFinding:
    with transaction.atomic():
        row.save(force_insert=True)
    audit.record(
        "finding.recorded",
        row,
        actor=actor,
        reason=row.reason,
        after={
            "about": str(row.about),
            "kind": row.kind,
            "since": row.since,
            "until": row.until,
        },
    )
    if row.device_id is not None:
        enqueue("lapses.judge_device", row.device_id)
    else:
        enqueue("lapses.judge_finding", row.pk)
    return row
