"""A system, a bar at its certificate's value, and a procedure that checks by it."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest

from lab.checks.models import ArtefactCheck, MeasuringSystem, ProcedureRevision
from lab.checks.services import (
    add_procedure,
    add_system,
    record_check,
    revise_procedure,
)
from lab.common import clock
from lab.equipment.entries import CalibratedEntry
from lab.equipment.models import Device
from lab.equipment.services import (
    accept_calibration,
    add_device,
    record_calibration,
)
from lab.laboratory.models import Laboratory
from lab.metrology.units import Quantity

A_TO_B = "Length A–B"
ALONG, ACROSS = "Along the room", "Across the room"
FOUNDED = datetime(2026, 3, 16, 8, tzinfo=UTC)


def at(hour: int, minute: int = 0, *, days: int = 0) -> datetime:
    """Return a time of the working day (UTC, which is London's in mid-March)."""
    moment = datetime(2026, 3, 17, hour, minute, tzinfo=UTC)
    return moment + timedelta(days=days)


@pytest.fixture(autouse=True)
def laboratory(db: None) -> Laboratory:
    return Laboratory.objects.create(
        name="Saltmarsh Dimensional",
        address="3 Sluice Road",
        email="desk@saltmarsh.example",
        phone="+44 1632 960140",
        time_zone="Europe/London",
    )


def make_device(people: Any, tag: str, kind: str, **more: Any) -> Device:
    return add_device(
        tag=tag,
        kind=kind,
        name=kind.title(),
        serial=f"{tag}-0001",
        acting_user=people.technician,
        **more,
    )


def calibrate(people: Any, bar: Device, **changes: Any) -> Any:
    made = record_calibration(
        **{
            "device": bar,
            "calibrated_on": date(2026, 1, 12),
            "counts_from": date(2026, 1, 16),
            "due_on": date(2027, 1, 15),
            "certificate_number": "HC-SB-1-2601",
            "provider": "Hollin Calibration",
            "requirement_met": True,
            "values": [
                CalibratedEntry(
                    label=A_TO_B,
                    value=Quantity("1000.0123", "mm"),
                    expanded_u=Quantity("2", "µm"),
                )
            ],
            "acting_user": people.technician,
        }
        | changes
    )
    if made.requirement_met:
        accept_calibration(
            calibration=made, words="As required.", acting_user=people.quality
        )
    return made


@pytest.fixture
def bar(people: Any) -> Device:
    """A steel bar of 1000.0123 mm at 20 °C, U = 2 µm (k = 2)."""
    with clock.set_to(FOUNDED):
        made = make_device(
            people,
            "SB-1",
            "scale bar",
            expansion=Quantity("11.5", "µm/(m·K)"),
            expansion_u=Quantity("0.6", "µm/(m·K)"),
        )
        calibrate(people, made)
    return made


@pytest.fixture
def thermometer(people: Any) -> Device:
    with clock.set_to(FOUNDED):
        made = make_device(people, "CT-1", "contact thermometer")
        number = "HC-CT-1-2601"
        calibrate(people, made, certificate_number=number, values=[])
    return made


@pytest.fixture
def system(people: Any) -> MeasuringSystem:
    with clock.set_to(FOUNDED):
        return add_system(
            name="Net Loft system",
            tracker=make_device(people, "TR-1", "tracker"),
            scanner=make_device(people, "SC-1", "scanner"),
            acting_user=people.quality,
        )


@pytest.fixture
def revision(people: Any, system: MeasuringSystem, bar: Device) -> ProcedureRevision:
    """20 µm + L/50 µm with L in mm, so 40 µm at the bar's metre; two positions."""
    with clock.set_to(FOUNDED):
        procedure = add_procedure(
            code="CP-01",
            title="Length of the steel bar",
            kind="length",
            systems=[system],
            acting_user=people.quality,
        )
        return revise(people, procedure, bar)


def revise(
    people: Any, procedure: Any, bar: Device, **changes: Any
) -> ProcedureRevision:
    return revise_procedure(
        **{
            "procedure": procedure,
            "artefact": bar,
            "calibrated_label": A_TO_B,
            "positions": [ALONG, ACROSS],
            "limit_constant": Quantity("20", "µm"),
            "limit_per_metre": Quantity("20", "µm"),
            "temperature_u": Quantity("0.1", "K"),
            "valid_for": timedelta(hours=12),
            "closing_within": timedelta(hours=24),
            "acting_user": people.quality,
        }
        | changes
    )


def check_values(
    people: Any,
    system: MeasuringSystem,
    revision: ProcedureRevision,
    thermometer: Device,
) -> dict[str, Any]:
    """Return what records a pass from 7:40 to 8:00 at 22 °C.

    The bar is 1000.0123 · (1 + 11.5e-6 · 2) = 1000.0353 mm long at 22 °C, so that
    these readings err by 12 µm and by -2.3 µm.
    """
    return {
        "system": system,
        "procedure": revision,
        "started_at": at(7, 40),
        "ended_at": at(8),
        "artefact_temperature": Quantity("22.0", "°C"),
        "thermometer": thermometer,
        "readings": {
            ALONG: Quantity("1000.0473", "mm"),
            ACROSS: Quantity("1000.0330", "mm"),
        },
        "form_key": "form-1",
        "acting_user": people.technician,
    }


@pytest.fixture
def check(
    people: Any,
    system: MeasuringSystem,
    revision: ProcedureRevision,
    thermometer: Device,
) -> Any:
    """Return a function that records the check above with some values changed."""

    def record(now: datetime | None = None, **changes: Any) -> ArtefactCheck:
        values = check_values(people, system, revision, thermometer) | changes
        with clock.set_to(now or values["ended_at"]):
            return record_check(**values)

    return record


FAILING = {
    ALONG: Quantity("1000.0800", "mm"),
    ACROSS: Quantity("1000.0330", "mm"),
}

DIAMETER = "Diameter"


@pytest.fixture
def sphere(people: Any) -> Device:
    """A ceramic sphere of 25.0008 mm at 20 °C, U = 0.4 µm (k = 2)."""
    with clock.set_to(FOUNDED):
        made = make_device(
            people,
            "SP-1",
            "sphere",
            expansion=Quantity("5.5", "µm/(m·K)"),
            expansion_u=Quantity("0.3", "µm/(m·K)"),
        )
        value = CalibratedEntry(
            label=DIAMETER,
            value=Quantity("25.0008", "mm"),
            expanded_u=Quantity("0.4", "µm"),
        )
        number = "HC-SP-1-2601"
        calibrate(people, made, certificate_number=number, values=[value])
    return made


@pytest.fixture
def size_revision(
    people: Any, system: MeasuringSystem, sphere: Device
) -> ProcedureRevision:
    """Probing size within 30 µm at two places, twice each: four readings."""
    with clock.set_to(FOUNDED):
        procedure = add_procedure(
            code="CP-02",
            title="Probing size of the sphere",
            kind="probing size",
            systems=[system],
            acting_user=people.quality,
        )
        return revise(
            people,
            procedure,
            sphere,
            calibrated_label=DIAMETER,
            positions=["Near", "Far"],
            repeats=2,
            limit_constant=Quantity("30", "µm"),
            limit_per_metre=None,
            claimed_u=Quantity("18", "µm"),
        )
