"""What the records say of devices: status, calibration, what falls due."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time
from zoneinfo import ZoneInfo

from django.db.models import Prefetch, QuerySet

from lab.common import clock
from lab.equipment.models import (
    CALIBRATED,
    CalibratedValue,
    Calibration,
    Device,
    DeviceEvent,
    DeviceStatus,
    Dispatch,
    StandIn,
)
from lab.laboratory.selectors import home_zone
from lab.metrology import bracketing


def calibrations_in_force(device: Device) -> QuerySet[Calibration]:
    """Return a device's calibrations that no correction supersedes, newest first."""
    rows = device.calibrations.filter(superseded_by=None)
    return rows.order_by("-counts_from", "-pk")


def current_calibration(device: Device, at: datetime) -> Calibration | None:
    """Return the calibration that a device has at an instant, if it is current.

    The newest that counts is the one that speaks: where nobody has accepted it yet,
    it didn't meet the requirement, or is past its due day, an older one doesn't come
    back.
    """
    day = at.astimezone(home_zone()).date()
    rows = calibrations_in_force(device).filter(counts_from__lte=day)
    newest = rows.select_related("acceptance").first()
    if newest is None or newest.due_on < day or not newest.is_good:
        return None
    return newest


def calibration_spans(devices: Iterable[Device]) -> list[bracketing.Calibration]:
    """Return for how long each calibration of some devices is current.

    Each ends where the next begins to count, or with its due day if that is sooner;
    one that didn't meet the requirement, or was rejected, ends the one before and gives
    nothing. One that nobody has decided on says nothing of the past yet: it keeps the
    device out of use, but makes no finding on what was measured.
    """
    zone = home_zone()
    rows = Calibration.objects.filter(device__in=list(devices), superseded_by=None)
    by_device: dict[int, list[Calibration]] = {}
    for row in rows.select_related("acceptance").order_by(
        "device", "counts_from", "pk"
    ):
        if row.is_decided or not row.requirement_met:
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
        if one.is_good and start < end:
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
    """Tell whether a device may be used: not out of service, and not away."""
    if dispatch_of(device) is not None:
        return False
    status = status_of(device)
    return status is None or status.status != DeviceStatus.Status.OUT_OF_SERVICE


def restrictions_of(devices: Iterable[Device]) -> list[str]:
    """Return what some devices may not be used for, each with its tag, once each."""
    found: dict[str, None] = {}
    for device in devices:
        status = status_of(device)
        if status is not None and status.restriction:
            found[f"{device.tag}, {status.restriction}"] = None
    return list(found)


def events_of(device: Device) -> QuerySet[DeviceEvent]:
    """Return a device's log, newest first."""
    return device.events.select_related(
        "recorded_by", "task", "room_before", "room_after"
    )


def dispatch_of(device: Device) -> Dispatch | None:
    """Return the dispatch that a device is away on."""
    away = device.dispatches.filter(came_back=None).select_related("provider")
    return away.first()


@dataclass(frozen=True, slots=True)
class Standing:
    """How a device stands today: its status, its calibration, in a word and a shape."""

    device: Device
    status: DeviceStatus | None
    calibration: Calibration | None
    today: date
    dispatch: Dispatch | None = None
    stand_ins: Sequence[StandIn] = ()

    @property
    def due_on(self) -> date | None:
        return self.calibration.due_on if self.calibration else None

    @property
    def days_left(self) -> int | None:
        return (self.due_on - self.today).days if self.due_on else None

    @property
    def word(self) -> str:
        if self.dispatch is not None:
            return "Away for calibration"
        if self.status is not None and self.status.status != "in service":
            return self.status.get_status_display()
        if not self.device.needs_calibration:
            return "In service"
        return self._word_of_calibration()

    def _word_of_calibration(self) -> str:
        if self.calibration is None:
            return "Not calibrated"
        if not self.calibration.requirement_met or self.calibration.is_rejected:
            return "Requirement not met"
        if not self.calibration.is_decided:
            return "Waits for acceptance"
        if self.calibration.due_on < self.today:
            return "Calibration overdue"
        return "Calibrated"

    @property
    def shape(self) -> str:
        """Return the class of the state sign that goes with the word."""
        if self.word in {"Calibrated", "In service"}:
            soon = self.days_left is not None and self.days_left <= DUE_SOON_DAYS
            return "state-wait" if soon else "state-good"
        if self.word == "Waits for acceptance":
            return "state-wait"
        is_off = self.word in {"Out of service", "Away for calibration"}
        return "state-off" if is_off else "state-bad"


#: From so many days before a due day on, a list marks it (common practice, no source).
DUE_SOON_DAYS = 30


def standings(devices: QuerySet[Device]) -> list[Standing]:
    """Return how devices stand today, in five queries however many they are."""
    now = clock.now()
    today = now.astimezone(home_zone()).date()
    counting = Calibration.objects.filter(superseded_by=None, counts_from__lte=today)
    past: QuerySet[DeviceStatus] = DeviceStatus.objects.filter(at__lte=now)
    newest: QuerySet[Calibration] = counting.select_related("acceptance").order_by(
        "-counts_from", "-pk"
    )
    away = Dispatch.objects.filter(came_back=None).select_related("provider")
    others = StandIn.objects.select_related("stand_in")
    rows = devices.select_related("room__site").prefetch_related(
        Prefetch("statuses", past, to_attr="past_statuses"),
        Prefetch("calibrations", newest, to_attr="counting_calibrations"),
        Prefetch("dispatches", away, to_attr="open_dispatches"),
        Prefetch("stand_ins", others, to_attr="named_stand_ins"),
    )
    return [
        Standing(
            device=device,
            status=next(iter(device.past_statuses), None),
            calibration=next(iter(device.counting_calibrations), None),
            today=today,
            dispatch=next(iter(device.open_dispatches), None),
            stand_ins=device.named_stand_ins,
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
