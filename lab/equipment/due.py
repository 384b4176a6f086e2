"""What falls due on devices in use: calibrations, and maintenance that is planned."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import groupby
from typing import Final
from zoneinfo import ZoneInfo

from django.db.models import Max

from lab.common import clock
from lab.equipment.models import CALIBRATED, Device, MaintenanceTask
from lab.equipment.selectors import DUE_SOON_DAYS, standings
from lab.laboratory.selectors import home_zone

MONTHS_AHEAD: Final = 12


@dataclass(frozen=True, slots=True)
class Due:
    """One thing that falls due on a day: of which device, and what."""

    device: Device
    what: str
    on: date
    key: str
    note: str = ""

    def is_over(self, today: date) -> bool:
        return self.on < today


@dataclass(frozen=True, slots=True)
class DueRow:
    """A line of the list: what falls due, and how near it is in a word and a shape."""

    due: Due
    today: date

    @property
    def days_left(self) -> int:
        return (self.due.on - self.today).days

    @property
    def word(self) -> str:
        if self.days_left < 0:
            return "Overdue"
        return "Soon" if self.days_left <= DUE_SOON_DAYS else "Later"

    @property
    def shape(self) -> str:
        shapes = {"Overdue": "state-bad", "Soon": "state-wait", "Later": "state-good"}
        return shapes[self.word]


@dataclass(frozen=True, slots=True)
class StripRow:
    """A device's line of the strip: what falls due in each of its months."""

    device: Device
    months: Sequence[Sequence[DueRow]]


@dataclass(frozen=True, slots=True)
class Strip:
    """Twelve months from the present one on; what is overdue stands in the first."""

    months: Sequence[date]
    rows: Sequence[StripRow]


def due_days(today: date) -> list[Due]:
    """Return all that falls due on devices in use, the soonest first.

    A device that has no calibration that counts has no day; the register shows it.
    """
    in_use = {
        one.device.pk: one
        for one in standings(Device.objects.all())
        if one.word != "Out of service"
    }
    calibrations = [
        Due(
            device=one.device,
            what="Calibration",
            on=one.calibration.due_on,
            key=f"calibration-{one.calibration.pk}",
            note=one.calibration.certificate_number,
        )
        for one in in_use.values()
        if one.calibration is not None and one.device.kind in CALIBRATED
    ]
    return sorted(
        [*calibrations, *_maintenance(in_use.keys())],
        key=lambda one: (one.on, one.device.tag, one.what),
    )


def planned_for(device: Device) -> list[tuple[MaintenanceTask, date]]:
    """Return a device's planned maintenance, each with the day by which it is due."""
    zone = home_zone()
    tasks = device.maintenance_tasks.filter(is_ended=False)
    return [
        (task, _due_on(task, zone)) for task in tasks.annotate(last=Max("done__at"))
    ]


def rows_of(dues: Iterable[Due], today: date) -> list[DueRow]:
    return [DueRow(one, today) for one in dues]


def strip_of(rows: Sequence[DueRow], today: date) -> Strip:
    """Lay what falls due into twelve months, a line a device, by tags."""
    months = [_month_after(today, count) for count in range(MONTHS_AHEAD)]
    end = _month_after(today, MONTHS_AHEAD)
    shown = sorted(
        (one for one in rows if one.due.on < end),
        key=lambda one: (one.due.device.tag, one.due.on),
    )
    lines = []
    for _, group in groupby(shown, key=lambda one: one.due.device.tag):
        theirs = list(group)
        cells = [[one for one in theirs if _shown_in(one, months) == m] for m in months]
        lines.append(StripRow(theirs[0].due.device, cells))
    return Strip(months, lines)


def due_by(day: date) -> list[DueRow]:
    """Return what is overdue or falls due up to a day, the soonest first."""
    today = clock.today(home_zone())
    return rows_of((one for one in due_days(today) if one.on <= day), today)


def _maintenance(device_ids: Iterable[int]) -> list[Due]:
    zone = home_zone()
    tasks = MaintenanceTask.objects.filter(is_ended=False, device__in=list(device_ids))
    return [
        Due(
            device=task.device,
            what=task.title,
            on=_due_on(task, zone),
            key=f"maintenance-{task.pk}",
            note="Maintenance",
        )
        for task in tasks.select_related("device").annotate(last=Max("done__at"))
    ]


def _due_on(task: MaintenanceTask, zone: ZoneInfo) -> date:
    last = getattr(task, "last", None)
    return task.due_after(last.astimezone(zone).date() if last else None)


def _shown_in(row: DueRow, months: Sequence[date]) -> date:
    return max(row.due.on.replace(day=1), months[0])


def _month_after(day: date, count: int) -> date:
    first = day.replace(day=1)
    for _ in range(count):
        first = (first + timedelta(days=31)).replace(day=1)
    return first
