"""What the tests of calibrations begin from: a laboratory, a steel bar, a logger."""

from __future__ import annotations

from datetime import UTC, date, datetime
from typing import Any

from lab.equipment.entries import CalibratedEntry, CorrectionEntry
from lab.equipment.models import Calibration, Device
from lab.equipment.services import (
    accept_calibration,
    add_device,
    record_calibration,
)
from lab.laboratory.models import Laboratory
from lab.metrology.units import Quantity

TODAY = datetime(2026, 4, 1, 9, tzinfo=UTC)
A_TO_B = "Length A–B"


def found_laboratory() -> Laboratory:
    return Laboratory.objects.create(
        name="Saltmarsh Dimensional",
        address="1 Sluice Road",
        email="desk@saltmarsh.example",
        phone="0100 200300",
        time_zone="Europe/London",
    )


def add_bar(people: Any, tag: str = "SB-2") -> Device:
    return add_device(
        tag=tag,
        kind="scale bar",
        name="Steel bar",
        serial="ST-1188",
        expansion=Quantity("11.5", "µm/(m·K)"),
        expansion_u=Quantity("0.5", "µm/(m·K)"),
        acting_user=people.technician,
    )


def add_logger(people: Any) -> Device:
    return add_device(
        tag="LG-1",
        kind="logger",
        name="Logger",
        serial="SL-771",
        acting_user=people.technician,
    )


def length(text: str = "1200.0417", **changes: Any) -> CalibratedEntry:
    typed = {
        "label": A_TO_B,
        "value": Quantity(text, "mm"),
        "expanded_u": Quantity("2.8", "µm"),
    }
    return CalibratedEntry(**(typed | changes))


def correction(reading: str = "20", by: str = "-0.05") -> CorrectionEntry:
    return CorrectionEntry(
        reading=Quantity(reading, "°C"),
        correction=Quantity(by, "K"),
        expanded_u=Quantity("0.04", "K"),
    )


def record(people: Any, device: Device, day: date, **changes: Any) -> Calibration:
    """Record a calibration of a day, current for a year; nobody has accepted it."""
    typed = {
        "device": device,
        "calibrated_on": day,
        "counts_from": day,
        "due_on": day.replace(year=day.year + 1),
        "certificate_number": f"HC-{day:%y%m}",
        "provider": "Headland Calibration Service",
        "requirement_met": True,
        "values": [length()] if device.is_artefact else [],
        "acting_user": people.technician,
    }
    return record_calibration(**(typed | changes))


def accepted(people: Any, device: Device, day: date, **changes: Any) -> Calibration:
    made = record(people, device, day, **changes)
    accept_calibration(
        calibration=made, words="As required.", acting_user=people.quality
    )
    return made
