"""What the records say of devices: status, calibration, what falls due."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time
from typing import cast
from zoneinfo import ZoneInfo

from django.db.models import Prefetch, QuerySet

from lab.common import clock
from lab.equipment.models import (
    CALIBRATED,
    CalibratedValue,
    Calibration,
    Device,
    DeviceStatus,
)
from lab.laboratory.selectors import home_zone
from lab.metrology import bracketing


def calibrations_in_force(device: Device) -> QuerySet[Calibration]:
    """Return a device's calibrations that no correction supersedes, newest first."""
    rows = device.calibrations.filter(superseded_by=None)
    return rows.order_by("-counts_from", "-pk")


def current_calibration(device: Device, at: datetime) -> Calibration | None:
    """Return the calibration that a device has at an instant, if it is current.

    The newest that counts is the one that speaks: where it didn't meet the
    requirement, or is past its due day, an older one doesn't come back.
    """
    day = at.astimezone(home_zone()).date()
    newest = calibrations_in_force(device).filter(counts_from__lte=day).first()
    if newest is None or newest.due_on < day or not newest.requirement_met:
        return None
    return newest


def calibration_spans(devices: Iterable[Device]) -> list[bracketing.Calibration]:
    """Return for how long each calibration of some devices is current.

    Each ends where the next begins to count, or with its due day if that is sooner;
    one that didn't meet the requirement ends the one before and gives nothing.
    """
    zone = home_zone()
    rows = Calibration.objects.filter(device__in=list(devices), superseded_by=None)
    by_device: dict[int, list[Calibration]] = {}
    for row in rows.order_by("device", "counts_from", "pk"):
        by_device.setdefault(row.device_id, []).append(row)
    return [
        span
        for calibrations in by_device.values()
        for span in _spans(calibrations, zone)
    ]


def device_key(pk: int) -> str:
    """Return the name by which the lapse rules know a device."""
    return f"device:{pk}"


def _spans(
    calibrations: Sequence[Calibration], zone: ZoneInfo
) -> Iterable[bracketing.Calibration]:
    following = [*calibrations[1:], None]
    for one, later in zip(calibrations, following, strict=True):
        start = datetime.combine(one.counts_from, time.min, tzinfo=zone)
        end = clock.end_of_day(one.due_on, zone)
        if later is not None:
            end = min(end, datetime.combine(later.counts_from, time.min, tzinfo=zone))
        if one.requirement_met and start < end:
            yield bracketing.Calibration(
                key=f"calibration:{one.pk}",
                item=device_key(one.device_id),
                start=start,
                end=end,
            )


# --- Status and what falls due -------------------------------------------------------


def status_of(device: Device) -> DeviceStatus | None:
    """Return the status that a device has now; none is in service since ever."""
    return device.statuses.filter(at__lte=clock.now()).first()


def is_in_service(device: Device) -> bool:
    status = status_of(device)
    return status is None or status.status != DeviceStatus.Status.OUT_OF_SERVICE


@dataclass(frozen=True, slots=True)
class Standing:
    """How a device stands today: its status, its calibration, in a word and a shape."""

    device: Device
    status: DeviceStatus | None
    calibration: Calibration | None
    today: date

    @property
    def due_on(self) -> date | None:
        return self.calibration.due_on if self.calibration else None

    @property
    def days_left(self) -> int | None:
        return (self.due_on - self.today).days if self.due_on else None

    @property
    def word(self) -> str:
        if self.status is not None and self.status.status != "in service":
            return self.status.get_status_display()
        if not self.device.needs_calibration:
            return "In service"
        if self.calibration is None:
            return "Not calibrated"
        if not self.calibration.requirement_met:
            return "Requirement not met"
        if self.calibration.due_on < self.today:
            return "Calibration overdue"
        return "Calibrated"

    @property
    def shape(self) -> str:
        """Return the class of the state sign that goes with the word."""
        if self.word in {"Calibrated", "In service"}:
            soon = self.days_left is not None and self.days_left <= DUE_SOON_DAYS
            return "state-wait" if soon else "state-good"
        return "state-off" if self.word == "Out of service" else "state-bad"


#: From so many days before a due day on, a list marks it (common practice, no source).
DUE_SOON_DAYS = 30


def standings(devices: QuerySet[Device]) -> list[Standing]:
    """Return how devices stand today, in three queries however many they are."""
    now = clock.now()
    today = now.astimezone(home_zone()).date()
    counting = Calibration.objects.filter(superseded_by=None, counts_from__lte=today)
    past: QuerySet[DeviceStatus] = DeviceStatus.objects.filter(at__lte=now)
    newest: QuerySet[Calibration] = counting.order_by("-counts_from", "-pk")
    rows = devices.select_related("room__site").prefetch_related(
        Prefetch("statuses", past, to_attr="past_statuses"),
        Prefetch("calibrations", newest, to_attr="counting_calibrations"),
    )
    return [
        Standing(
            device=device,
            status=next(iter(cast(list[DeviceStatus], device.past_statuses)), None),
            calibration=next(
                iter(cast(list[Calibration], device.counting_calibrations)), None
            ),
            today=today,
        )
        for device in rows
    ]


def due_until(day: date) -> list[Standing]:
    """Return the devices in use whose calibration is over by the end of a day."""
    calibrated = Device.objects.filter(kind__in=CALIBRATED)
    due = [
        one
        for one in standings(calibrated)
        if one.word != "Out of service" and (one.due_on or date.min) <= day
    ]
    return sorted(due, key=lambda one: (one.due_on or date.min, one.device.tag))


def reference_value(calibration: Calibration, label: str) -> CalibratedValue | None:
    """Return a calibrated value as left, which is how the artefact has been since."""
    rows = calibration.values.filter(label=label)
    left = rows.filter(moment=CalibratedValue.Moment.AS_LEFT).first()
    return left or rows.first()
