"""What belongs to the calibrations of the demo's devices: recorded, accepted, sent."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, timedelta
from decimal import Decimal
from functools import partial
from typing import TYPE_CHECKING, Final

from lab.demo.people import Staff
from lab.equipment.entries import CalibratedEntry, CorrectionEntry
from lab.equipment.models import Calibration, Device, DeviceKind, IntervalRule
from lab.equipment.services import (
    accept_calibration,
    keep_provider,
    name_stand_in,
    record_calibration,
    send_out,
    set_interval_rule,
    set_requirement,
)
from lab.metrology.units import Quantity

if TYPE_CHECKING:
    from lab.demo.world import World

PROVIDER: Final = "Headland Calibration Service"
ACCREDITATION: Final = "Invented accreditation 0000 for length"
SENSORS: Final = (DeviceKind.CONTACT_THERMOMETER, DeviceKind.LOGGER)
#: Where a thermometer is calibrated, and what it errs there in millikelvin.
POINTS: Final = (("15.00", 12), ("20.00", 30), ("25.00", 45))
LIMITS: Final = {
    # how far a length may move, and its largest U, in micrometres
    "SB-1": ("6", "3"),
    "SB-2": ("30", "3"),
    "SB-3": ("6", "3"),
    "BB-1": ("5", "2"),
}


def calibrate(
    staff: Staff,
    device: Device,
    *,
    counts_from: date,
    due_on: date,
    days_before: int,
    values: Sequence[CalibratedEntry] = (),
    is_accepted: bool = True,
) -> Calibration:
    """Record what came back with a device, and accept it unless it shall wait."""
    made = record_calibration(
        device=device,
        calibrated_on=counts_from - timedelta(days=days_before),
        counts_from=counts_from,
        due_on=due_on,
        certificate_number=f"HC-{device.tag}-{counts_from:%y%m}",
        provider=PROVIDER,
        accreditation=ACCREDITATION,
        requirement_met=True,
        values=values,
        corrections=_corrections(device),
        acting_user=staff.technicians[0],
    )
    if is_accepted:
        accept_calibration(
            calibration=made,
            words="Results and uncertainty are within what we require.",
            acting_user=staff.quality,
        )
    return made


def set_requirements(staff: Staff, devices: Sequence[Device]) -> None:
    """Say what each artefact and each sensor has to keep."""
    for device in devices:
        if device.tag in LIMITS:
            moved, largest_u = LIMITS[device.tag]
            set_requirement(
                device=device,
                statement="The length moves by no more than the budgets allow for.",
                label="Length A–B",
                limit=Quantity(moved, "µm"),
                largest_u=Quantity(largest_u, "µm"),
                acting_user=staff.quality,
            )
        elif device.kind in SENSORS:
            set_requirement(
                device=device,
                statement="Corrections stay small enough to forget one by mistake.",
                largest_correction=Quantity("0.2", "K"),
                largest_correction_u=Quantity("0.05", "K"),
                acting_user=staff.quality,
            )


def set_rules(staff: Staff) -> None:
    """Set how each family's interval is found, and who calibrates."""
    keep_provider(
        name=PROVIDER,
        accreditation=ACCREDITATION,
        lead_days=21,
        acting_user=staff.quality,
    )
    methods = {
        DeviceKind.SCALE_BAR: IntervalRule.Method.DRIFT,
        DeviceKind.BALL_BAR: IntervalRule.Method.STAIRCASE,
        DeviceKind.LOGGER: IntervalRule.Method.STAIRCASE,
        DeviceKind.CONTACT_THERMOMETER: IntervalRule.Method.FIXED,
        DeviceKind.TRACKER: IntervalRule.Method.FIXED,
        DeviceKind.SCANNER: IntervalRule.Method.FIXED,
    }
    for family, method in methods.items():
        set_interval_rule(
            family=family,
            method=method,
            months=12,
            longest_months=24,
            reason="A year as a start (ILAC-G24); reviewed as results come in.",
            acting_user=staff.quality,
        )


def plan_dispatch(world: World) -> None:
    """Let the drifting bar be away on the last day, and another wait for its person."""
    world.plan(world.last_day, 15, 10, partial(_send_drifting_bar, world))
    world.plan(world.last_day, 15, 40, partial(_leave_undecided, world))


def _send_drifting_bar(world: World) -> None:
    bars, hand = world.register.bars, world.staff.technicians[0]
    for tag in ("SB-1", "SB-3"):
        name_stand_in(
            device=bars["SB-2"],
            stand_in=bars[tag],
            difference="Shorter: no check beyond a metre.",
            acting_user=hand,
        )
    send_out(
        device=bars["SB-2"],
        provider=keep_provider(
            name=PROVIDER,
            accreditation=ACCREDITATION,
            lead_days=21,
            notes="Collects on Wednesdays.",
            acting_user=hand,
        ),
        sent_on=world.last_day,
        expected_back=world.last_day + timedelta(days=21),
        carrier="Sluice Road Couriers",
        purpose="Calibrated early: its length drifts towards the limit.",
        acting_user=hand,
    )


def _leave_undecided(world: World) -> None:
    bar = world.register.bars["BB-1"]
    calibrate(
        world.staff,
        bar,
        counts_from=world.last_day,
        due_on=world.last_day + timedelta(days=365),
        days_before=5,
        values=[
            CalibratedEntry(
                label="Length A–B",
                value=Quantity("500.0219", "mm"),
                expanded_u=Quantity("1.6", "µm"),
            )
        ],
        is_accepted=False,
    )


def _corrections(device: Device) -> list[CorrectionEntry]:
    """Return a sensor's corrections; each sensor errs a little in its own way."""
    if device.kind not in SENSORS:
        return []
    own = sum(map(ord, device.serial)) % 7 - 3
    year = device.calibrations.count()
    return [
        CorrectionEntry(
            reading=Quantity(point, "°C"),
            correction=Quantity(f"{Decimal(-error - 5 * own - 4 * year) / 1000}", "K"),
            expanded_u=Quantity("0.03", "K"),
        )
        for point, error in POINTS
    ]
