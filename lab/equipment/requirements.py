"""A calibration compared with what the lab requires of the device, in words."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from decimal import Decimal

from lab.equipment.models import CalibratedValue, Calibration, Device, Requirement
from lab.equipment.references import value_at_20_mm
from lab.metrology.units import Quantity


@dataclass(frozen=True, slots=True)
class Comparison:
    """One number compared with its limit; simple acceptance, u is limited apart."""

    words: str
    is_met: bool


def requirement_of(device: Device) -> Requirement | None:
    """Return what is required of a device now; the newest row speaks."""
    return device.requirements.first()


def comparisons(
    calibration: Calibration, requirement: Requirement | None
) -> list[Comparison]:
    """Compare a calibration's results with a requirement, number by number."""
    if requirement is None:
        return []
    return [
        *_of_lengths(calibration, requirement),
        *_of_corrections(calibration, requirement),
    ]


def reference_of(
    requirement: Requirement, device: Device, label: str
) -> Decimal | None:
    """Return the length from which a value's movement counts, in millimetres.

    That is the requirement's own reference, else the first value that was accepted.
    """
    if requirement.reference is not None:
        return requirement.reference.value
    first = (
        CalibratedValue.objects.filter(
            calibration__device=device,
            calibration__superseded_by=None,
            calibration__acceptance__accepted=True,
            label=label,
        )
        .select_related("calibration__device")
        .order_by("calibration__calibrated_on", "calibration__pk", "moment")
        .first()
    )
    return None if first is None else value_at_20_mm(first)


# --- Lengths --------------------------------------------------------------------------


def _of_lengths(
    calibration: Calibration, requirement: Requirement
) -> Iterator[Comparison]:
    if requirement.limit is None and requirement.largest_u is None:
        return
    values = [
        value
        for value in calibration.values.all()
        if not requirement.label or value.label == requirement.label
    ]
    if not values:
        what = f"“{requirement.label}”" if requirement.label else "value"
        yield Comparison(f"The certificate states no {what}.", is_met=False)
    for value in values:
        if requirement.limit is not None and value.is_dimension:
            yield _moved(value, requirement, requirement.limit)
        elif requirement.limit is not None:
            yield _form(value, requirement.limit)
        if requirement.largest_u is not None:
            yield _certain(value, requirement.largest_u)


def _moved(
    value: CalibratedValue, requirement: Requirement, limit: Quantity
) -> Comparison:
    device = value.calibration.device
    reference = reference_of(requirement, device, value.label)
    name = f"{value.label}, {value.get_moment_display().lower()}"
    if reference is None:
        return Comparison(
            f"{name}: the first value, from which later movement counts.", is_met=True
        )
    moved = value_at_20_mm(value) - reference
    return Comparison(
        f"{name}: {_um(moved)} from {reference.normalize():f} mm; "
        f"{_um(limit.value, signed=False)} is permitted.",
        is_met=abs(moved) <= limit.value,
    )


def _form(value: CalibratedValue, limit: Quantity) -> Comparison:
    return Comparison(
        f"{value.label}: {_um(value.value.value, signed=False)}; "
        f"{_um(limit.value, signed=False)} is permitted.",
        is_met=value.value.value <= limit.value,
    )


def _certain(value: CalibratedValue, largest: Quantity) -> Comparison:
    return Comparison(
        f"{value.label}: U = {_um(value.expanded_u.value, signed=False)}; "
        f"{_um(largest.value, signed=False)} is permitted.",
        is_met=value.expanded_u.value <= largest.value,
    )


def _um(length_mm: Decimal, *, signed: bool = True) -> str:
    micrometres = (length_mm * 1000).quantize(Decimal("0.01")).normalize()
    return f"{micrometres:+f} µm" if signed else f"{micrometres:f} µm"


# --- A sensor's corrections -----------------------------------------------------------


def _of_corrections(
    calibration: Calibration, requirement: Requirement
) -> Iterator[Comparison]:
    limits = (requirement.largest_correction, requirement.largest_correction_u)
    if limits == (None, None):
        return
    rows = list(calibration.corrections.all())
    if not rows:
        yield Comparison("The certificate states no correction.", is_met=False)
    for row in rows:
        stated: Sequence[tuple[str, Quantity, Quantity | None]] = (
            ("correction", row.correction, limits[0]),
            ("U", row.expanded_u, limits[1]),
        )
        for name, found, limit in stated:
            if limit is not None:
                yield Comparison(
                    f"At {row.reading}: {name} {found}; {limit} is permitted.",
                    is_met=abs(found.value) <= limit.value,
                )
