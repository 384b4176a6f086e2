"""Whether a calibration found a device out of what the lab requires of it."""

from __future__ import annotations

from dataclasses import dataclass

from lab.equipment.models import CalibratedValue, Calibration, Requirement
from lab.equipment.references import value_at_20_mm
from lab.equipment.requirements import reference_of, requirement_of
from lab.lapses.models import LaterFinding

Moment = CalibratedValue.Moment


@dataclass(frozen=True, slots=True)
class AsFound:
    """That a device was found out of tolerance, and by what it shows."""

    kind: LaterFinding.Kind
    reason: str


def what_was_found(
    calibration: Calibration, before: Calibration | None
) -> AsFound | None:
    """Return what a calibration found amiss, or None where all was as required.

    As found, the device is what it was while people measured with it. Where nothing
    was adjusted, as left is the same. Values are compared at 20 °C with the limit of
    the requirement; what is moved since the calibration before by more than that is
    found as well. Without values, the decision about the calibration speaks.
    """
    requirement = requirement_of(calibration.device)
    if requirement is not None and requirement.limit is not None:
        values = _as_found(calibration, requirement)
        moved = _out_of_tolerance(values, requirement) or _moved(
            values, requirement, before
        )
        if moved is not None or values:
            return moved
    if calibration.adjusted or calibration.requirement_met:
        return None
    return AsFound(
        LaterFinding.Kind.OUT_OF_TOLERANCE,
        f"Certificate {calibration.certificate_number} of "
        f"{calibration.calibrated_on:%Y-%m-%d}: the results do not meet what the lab "
        f"requires of {calibration.device.tag}.",
    )


def _as_found(
    calibration: Calibration, requirement: Requirement
) -> list[CalibratedValue]:
    rows = [
        value
        for value in calibration.values.select_related("calibration__device")
        if value.is_dimension and requirement.label in ("", value.label)
    ]
    found = [value for value in rows if value.moment == Moment.AS_FOUND]
    return found or ([] if calibration.adjusted else rows)


def _out_of_tolerance(
    values: list[CalibratedValue], requirement: Requirement
) -> AsFound | None:
    for value in values:
        device = value.calibration.device
        reference = reference_of(requirement, device, value.label)
        if reference is None or requirement.limit is None:
            continue
        moved = value_at_20_mm(value) - reference
        if abs(moved) > requirement.limit.value:
            return AsFound(
                LaterFinding.Kind.OUT_OF_TOLERANCE,
                f"{device.tag} was found {_um(moved)} from its reference, "
                f"{value.label}; "
                f"{requirement.limit} is permitted (certificate "
                f"{value.calibration.certificate_number}).",
            )
    return None


def _moved(
    values: list[CalibratedValue], requirement: Requirement, before: Calibration | None
) -> AsFound | None:
    if before is None or requirement.limit is None:
        return None
    left = {
        value.label: value
        for value in before.values.select_related("calibration__device").order_by(
            "-moment"
        )
    }
    for value in values:
        if value.label not in left:
            continue
        moved = value_at_20_mm(value) - value_at_20_mm(left[value.label])
        if abs(moved) > requirement.limit.value:
            return AsFound(
                LaterFinding.Kind.MOVED,
                f"{value.calibration.device.tag} moved {_um(moved)} since certificate "
                f"{before.certificate_number}, {value.label}; {requirement.limit} is "
                f"allowed for (certificate {value.calibration.certificate_number}).",
            )
    return None


def _um(length_mm: object) -> str:
    return f"{float(str(length_mm)) * 1000:+.1f} µm"
