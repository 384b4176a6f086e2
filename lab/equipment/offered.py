"""What the form of a calibration starts from: the device's last one, or a file."""

from __future__ import annotations

from typing import Any

from lab.common import clock
from lab.common.files.store import read_file
from lab.equipment.dcc import Certificate, Correction, Value, read_sandboxed
from lab.equipment.models import (
    CalibratedValue,
    Calibration,
    CertificateFile,
    Device,
    SensorCorrection,
)
from lab.equipment.selectors import calibrations_in_force
from lab.equipment.services.calibrations import SENSORS
from lab.metrology.units import Quantity

LENGTHS = frozenset({"mm", "µm", "m"})


def known_labels(device: Device) -> list[str]:
    """Return the names that the device's values have had, the newest first."""
    values = CalibratedValue.objects.filter(
        calibration__device=device, calibration__superseded_by=None
    )
    newest_first = values.order_by("-calibration__counts_from", "pk")
    return list(dict.fromkeys(newest_first.values_list("label", flat=True)))


def newest_of(device: Device) -> Calibration | None:
    return calibrations_in_force(device).first()


def is_sensor(device: Device) -> bool:
    return device.kind in SENSORS


def facts_before(device: Device) -> dict[str, Any]:
    """Return what is likely to be the same this time."""
    newest = newest_of(device)
    if newest is None:
        return {}
    return {"provider": newest.provider, "accreditation": newest.accreditation}


def rows_before(device: Device) -> dict[str, Any]:
    """Return the rows that the newest calibration had, without their numbers."""
    newest = newest_of(device)
    values = [] if newest is None else list(newest.values.all())
    rows: dict[str, Any] = {
        "values": [
            {"label": one.label, "measurand": one.measurand, "moment": one.moment}
            for one in values
        ]
    }
    if is_sensor(device):
        rows["corrections"] = []
    return rows


def rows_of(calibration: Calibration) -> dict[str, Any]:
    """Return the rows of a recording with their numbers, to be corrected."""
    rows: dict[str, Any] = {"values": [_value(one) for one in calibration.values.all()]}
    if is_sensor(calibration.device):
        rows["corrections"] = [
            _correction(one) for one in calibration.corrections.all()
        ]
    return rows


def facts_of(calibration: Calibration) -> dict[str, Any]:
    """Return what a recording says besides its results."""
    names = (
        "calibrated_on",
        "counts_from",
        "due_on",
        "certificate_number",
        "provider",
        "accreditation",
        "adjusted",
        "requirement_met",
        "notes",
    )
    return {name: getattr(calibration, name) for name in names}


def _value(one: CalibratedValue) -> dict[str, Any]:
    names = ("label", "measurand", "moment", "value", "expanded_u", "temperature")
    return {name: getattr(one, name) for name in names} | {
        "coverage_factor_text": one.coverage_factor_text
    }


def _correction(one: SensorCorrection) -> dict[str, Any]:
    names = ("moment", "reading", "correction", "expanded_u", "coverage_factor_text")
    return {name: getattr(one, name) for name in names}


# --- Out of a digital certificate -----------------------------------------------------


def read_again(kept: CertificateFile) -> Certificate:
    """Read a kept certificate as it is shown and recorded from."""
    return read_sandboxed(read_file(kept.file), now=clock.now())


def rows_read(device: Device, read: Certificate) -> dict[str, Any]:
    """Return the rows that a certificate fills, under the device's own labels."""
    values = [one for one in read.values if is_usable(one)]
    known = known_labels(device)
    only = known[0] if len(values) == len(known) == 1 else ""
    rows: dict[str, Any] = {"values": [_read_value(one, only) for one in values]}
    if is_sensor(device):
        rows["corrections"] = [_read_correction(one) for one in read.corrections]
    return rows


def is_usable(value: Value) -> bool:
    """Tell a length with its uncertainty, above zero, from what can't be recorded."""
    return value.unit in LENGTHS and bool(value.expanded_u_text)


def left_out(device: Device, read: Certificate) -> list[Value]:
    """Return what a certificate states and this device can't take as a value."""
    if is_sensor(device) and read.corrections:
        return []
    return [one for one in read.values if not is_usable(one)]


def facts_read(device: Device, read: Certificate) -> dict[str, Any]:
    """Return what a certificate says besides its results."""
    facts: dict[str, Any] = {
        "calibrated_on": read.calibrated_on,
        "certificate_number": read.identifier[:80],
        "provider": read.laboratory[:120],
    }
    newest = newest_of(device)
    if newest is not None and newest.provider == read.laboratory:
        facts["accreditation"] = newest.accreditation
    if len(read.temperatures) == 1:
        facts["temperature"] = Quantity(read.temperatures[0].degc_text, "°C")
    return facts


def _read_value(one: Value, own_label: str) -> dict[str, Any]:
    return {
        "label": own_label or one.label,
        "moment": one.moment,
        "value": Quantity(one.text, one.unit),
        "expanded_u": Quantity(one.expanded_u_text, one.unit),
        "coverage_factor_text": one.coverage_factor_text,
    }


def _read_correction(one: Correction) -> dict[str, Any]:
    return {
        "moment": one.moment,
        "reading": Quantity(one.reading_degc_text, "°C"),
        "correction": Quantity(one.correction_k_text, "K"),
        "expanded_u": Quantity(one.expanded_u_k_text, "K"),
        "coverage_factor_text": one.coverage_factor_text,
    }
