"""The devices of the invented lab and years of their calibrations."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from typing import Any, Final

from lab.checks.models import MeasuringSystem, ProcedureRevision
from lab.checks.services import add_procedure, add_system, revise_procedure
from lab.demo.calibrations import calibrate, set_requirements, set_rules
from lab.demo.laboratory import House
from lab.demo.people import Staff
from lab.equipment.entries import CalibratedEntry
from lab.equipment.models import Device, DeviceKind
from lab.equipment.services import add_device
from lab.laboratory.models import CheckKind
from lab.metrology.units import Quantity

A_TO_B: Final = "Length A–B"
YEAR: Final = timedelta(days=365)
#: How far each year's value lies beside the straight drift, in micrometres.
SCATTER_UM: Final = ("0", "0.4", "-0.5", "0.3", "-0.2", "0.4", "-0.3")
#: How many calibrations each bar has had before the year begins.
YEARS_BEFORE: Final = {"SB-2": 5}


@dataclass(frozen=True, slots=True)
class Bar:
    """A bar's expansion, length and how its calibrated value moves in a year."""

    tag: str
    kind: str
    name: str
    serial: str
    expansion: str
    expansion_u: str
    length: str
    u_um: str
    drift_um: str


BARS: Final = (
    Bar(
        "SB-1",
        DeviceKind.SCALE_BAR,
        "Carbon-fibre bar",
        "CF-0071",
        "0.2",
        "0.2",
        "1000.0123",
        "2.4",
        "0.3",
    ),
    Bar(
        "SB-2",
        DeviceKind.SCALE_BAR,
        "Steel bar",
        "ST-1188",
        "11.5",
        "0.5",
        "1200.0417",
        "2.8",
        "4.6",
    ),
    Bar(
        "SB-3",
        DeviceKind.SCALE_BAR,
        "Invar bar",
        "IN-0305",
        "1.2",
        "0.3",
        "800.0058",
        "2.0",
        "0.5",
    ),
    Bar(
        "BB-1",
        DeviceKind.BALL_BAR,
        "Ball bar",
        "BB-0012",
        "11.2",
        "0.5",
        "500.0214",
        "1.6",
        "0.2",
    ),
)
LOGGERS: Final = tuple(f"LG-{number}" for number in range(1, 7))


@dataclass(frozen=True, slots=True)
class Register:
    """The devices that the history works with."""

    bars: dict[str, Device]
    loggers: dict[str, Device]
    thermometers: tuple[Device, Device]
    systems: tuple[MeasuringSystem, MeasuringSystem]
    procedures: tuple[ProcedureRevision, ProcedureRevision]


def fill_register(staff: Staff, house: House, today: date) -> Register:
    """Enter every device with its calibrations up to a day."""
    hand = staff.technicians[0]
    set_rules(staff)
    bars = {bar.tag: _add_bar(bar, house, staff, today) for bar in BARS}
    loggers = {
        tag: _add_plain(
            staff,
            today,
            tag=tag,
            kind=DeviceKind.LOGGER,
            name=f"Logger {tag[-1]}",
            serial=f"SL-77{tag[-1]}",
            room=house.long_room if index < 3 else house.net_loft,
        )
        for index, tag in enumerate(LOGGERS)
    }
    first, second = (
        _add_plain(
            staff,
            today,
            tag=f"CT-{number}",
            kind=DeviceKind.CONTACT_THERMOMETER,
            name=f"Contact thermometer {number}",
            serial=f"TH-410{number}",
        )
        for number in (1, 2)
    )
    add_device(
        tag="RT-1",
        kind=DeviceKind.ROTARY_TABLE,
        name="Rotary table",
        serial="RT-0009",
        room=house.net_loft,
        acting_user=hand,
    )
    systems = _add_systems(staff, house, today)
    set_requirements(staff, [*bars.values(), *loggers.values(), first, second])
    procedures = _add_procedures(staff, systems, bars)
    return Register(bars, loggers, (first, second), systems, procedures)


def recalibrate(device: Device, staff: Staff, today: date) -> None:
    """Send a device out and record what came back: current for a year from today."""
    bar = next((bar for bar in BARS if bar.tag == device.tag), None)
    years = device.calibrations.count()
    calibrate(
        staff,
        device,
        counts_from=today,
        due_on=today + YEAR,
        days_before=3,
        values=[_value(bar, years)] if bar else (),
    )


def _add_bar(bar: Bar, house: House, staff: Staff, today: date) -> Device:
    device = add_device(
        tag=bar.tag,
        kind=bar.kind,
        name=bar.name,
        serial=bar.serial,
        room=house.long_room,
        expansion=Quantity(bar.expansion, "µm/(m·K)"),
        expansion_u=Quantity(bar.expansion_u, "µm/(m·K)"),
        acting_user=staff.technicians[0],
    )
    # Some years of calibrations; the newest is current for some months yet.
    days_left = 60 + 40 * (int(bar.tag[-1]) % 3)
    years = YEARS_BEFORE.get(bar.tag, 3)
    for year in range(years):
        first = today - YEAR * (years - year) + timedelta(days=days_left)
        _record(device, staff, first, (_value(bar, year),))
    return device


def _value(bar: Bar, year: int) -> CalibratedEntry:
    moved_um = year * Decimal(bar.drift_um) + Decimal(SCATTER_UM[year])
    value = Decimal(bar.length) + moved_um / 1000
    return CalibratedEntry(
        label=A_TO_B,
        value=Quantity(f"{value:.4f}", "mm"),
        expanded_u=Quantity(bar.u_um, "µm"),
    )


def _record(
    device: Device, staff: Staff, first: date, values: tuple[CalibratedEntry, ...] = ()
) -> None:
    calibrate(
        staff,
        device,
        counts_from=first,
        due_on=first + YEAR,
        days_before=4,
        values=values,
    )


def _add_plain(staff: Staff, today: date, **what: Any) -> Device:
    device = add_device(acting_user=staff.technicians[0], **what)
    spread = sum(map(ord, device.tag)) % 9
    _record(device, staff, today - YEAR + timedelta(days=45 + 30 * spread))
    return device


def _add_systems(
    staff: Staff, house: House, today: date
) -> tuple[MeasuringSystem, MeasuringSystem]:
    made = []
    for number, room in ((1, house.long_room), (2, house.net_loft)):
        tracker = _add_plain(
            staff,
            today,
            tag=f"TR-{number}",
            kind=DeviceKind.TRACKER,
            name=f"Tracker {number}",
            serial=f"TK-550{number}",
            firmware="4.2",
            room=room,
            laser_class="1",
        )
        scanner = _add_plain(
            staff,
            today,
            tag=f"SC-{number}",
            kind=DeviceKind.SCANNER,
            name=f"Scanner {number}",
            serial=f"SN-220{number}",
            firmware="2.9",
            room=room,
            laser_class="2",
        )
        made.append(
            add_system(
                name=f"{room.name} system",
                tracker=tracker,
                scanner=scanner,
                acting_user=staff.quality,
            )
        )
    return made[0], made[1]


def _add_procedures(
    staff: Staff,
    systems: tuple[MeasuringSystem, MeasuringSystem],
    bars: dict[str, Device],
) -> tuple[ProcedureRevision, ProcedureRevision]:
    made = []
    for number, (system, tag) in enumerate(zip(systems, ("SB-1", "SB-3"), strict=True)):
        procedure = add_procedure(
            code=f"CP-0{number + 1}",
            title=f"Length of {bars[tag].name.lower()}",
            kind=CheckKind.LENGTH,
            systems=[system],
            acting_user=staff.quality,
        )
        made.append(
            revise_procedure(
                procedure=procedure,
                artefact=bars[tag],
                calibrated_label=A_TO_B,
                positions=["Along the room", "Across the room", "Upright"],
                limit_constant=Quantity("30", "µm"),
                limit_per_metre=Quantity("20", "µm"),
                limit_cap=None,
                acceptance=ProcedureRevision.Acceptance.SIMPLE,
                claimed_u=Quantity("29", "µm"),
                watched=["western electric 1", "western electric 4", "ewma"],
                temperature_u=Quantity("0.2", "K"),
                valid_for=timedelta(hours=12),
                closing_within=timedelta(hours=20),
                acting_user=staff.quality,
            )
        )
    return made[0], made[1]
