"""What the readings of an artefact come to: the records, as the computation wants them.

The computation itself is :mod:`lab.metrology.checks`. The readings are taken as
measured: the reference is brought from the temperature of its certificate to that of
the artefact, not the readings to 20 °C. No drift of the artefact is added to the
uncertainty of its certificate; the procedure's limit has to leave room for it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal

from lab.checks.models import CheckReading, ProcedureRevision
from lab.common.errors import NotAcceptable
from lab.equipment.models import CalibratedValue, Calibration, Device
from lab.equipment.selectors import (
    calibrations_in_force,
    current_calibration,
    reference_value,
)
from lab.metrology import checks as computing
from lab.metrology.errors import MetrologyError
from lab.metrology.units import LENGTH, Quantity

RULES = {
    ProcedureRevision.Acceptance.SIMPLE: computing.Rule.SIMPLE,
    ProcedureRevision.Acceptance.GUARDED: computing.Rule.GUARDED,
}


@dataclass(frozen=True, slots=True)
class Judged:
    """A check as it comes out, with the calibration that gave the reference."""

    revision: ProcedureRevision
    calibration: Calibration
    result: computing.CheckResult

    @property
    def worst_share(self) -> float:
        return max(one.share_of_limit for one in self.result.positions)

    def readings(self, typed: Mapping[str, Quantity]) -> list[CheckReading]:
        """Return the rows that a record keeps, not saved and without their check."""
        places = self.revision.reading_places
        return [
            CheckReading(
                position=places[one.position][0],
                repeat=places[one.position][1],
                reference_mm=one.reference_mm,
                error_mm=one.error_mm,
                limit_mm=one.limit_mm,
                acceptance_limit_mm=one.acceptance_limit_mm,
                u_test_mm=one.u_test_mm,
                passed=one.verdict is computing.Verdict.PASS,
                **CheckReading.measured.columns(typed[one.position]),
            )
            for one in self.result.positions
        ]


def judged(
    *,
    revision: ProcedureRevision,
    started_at: datetime,
    artefact_temperature: Quantity,
    readings: Mapping[str, Quantity],
) -> Judged:
    """Judge readings of a procedure's artefact at its temperature; store nothing.

    Raises
    ------
    NotAcceptable
        If the artefact has no current calibration with the prescribed value, positions
        are missing or unknown, or a number can't be what it is said to be.
    """
    require_all_positions(revision, readings)
    return judged_so_far(
        revision=revision,
        started_at=started_at,
        artefact_temperature=artefact_temperature,
        readings=readings,
    )


def judged_so_far(
    *,
    revision: ProcedureRevision,
    started_at: datetime,
    artefact_temperature: Quantity,
    readings: Mapping[str, Quantity],
) -> Judged:
    """Judge the positions that are read; see :func:`judged`."""
    calibration, value = calibrated_value(revision, started_at)
    try:
        reference = _reference(revision, value, artefact_temperature)
    except MetrologyError as refusal:
        raise NotAcceptable(str(refusal), field="artefact_temperature") from None
    try:
        return Judged(revision, calibration, _result(revision, reference, readings))
    except MetrologyError as refusal:
        raise NotAcceptable(str(refusal), field="readings") from None


def require_all_positions(
    revision: ProcedureRevision, readings: Mapping[str, Quantity]
) -> None:
    prescribed = revision.reading_names
    missing = [name for name in prescribed if name not in readings]
    if missing:
        raise NotAcceptable(
            f"Not measured: {', '.join(missing)}. Every prescribed position counts.",
            field="readings",
        )
    unknown = [name for name in readings if name not in prescribed]
    if unknown:
        raise NotAcceptable(
            f"{revision} knows no position {', '.join(unknown)}.", field="readings"
        )


def calibrated_value(
    revision: ProcedureRevision, at: datetime
) -> tuple[Calibration, CalibratedValue]:
    """Return the calibration of the artefact at an instant, and its value.

    Raises
    ------
    NotAcceptable
        If it had none, or none with that value.
    """
    artefact, label = revision.artefact, revision.calibrated_label
    calibration = current_calibration(artefact, at)
    if calibration is None:
        raise NotAcceptable(
            f"{artefact.tag} had no current calibration at that time, so nothing can "
            "be said of the system with it. Use an artefact that is calibrated.",
            field="started_at",
        )
    value = reference_value(calibration, label)
    if value is None:
        raise NotAcceptable(
            f"Certificate {calibration.certificate_number} of {artefact.tag} states no "
            f"“{label}”. Have the procedure revised, or the recording corrected."
        )
    return calibration, value


def reading_unit(revision: ProcedureRevision, at: datetime) -> str:
    """Return the unit that a check's readings are typed in: that of the certificate.

    A form is read in micrometres, whatever unit its certificate has.
    """
    if quantity_of(revision).is_form:
        return "µm"
    calibration = current_calibration(revision.artefact, at)
    value = calibration and reference_value(calibration, revision.calibrated_label)
    return value.value.unit if value else LENGTH.base


def quantity_of(revision: ProcedureRevision) -> computing.Quantity:
    return computing.Quantity(revision.procedure.kind)


def limit_of(
    constant: Quantity, per_metre: Quantity | None, cap: Quantity | None
) -> computing.Limit:
    """Return a limit as it is computed with: A + L/K, with K in mm per mm.

    Raises
    ------
    MetrologyError
        If nothing could meet it, or the cap lies below the constant.
    """
    growth_mm = float(per_metre.value) if per_metre else 0.0
    return computing.Limit(
        constant_mm=float(constant.value),
        mm_per_mm=1000.0 / growth_mm if growth_mm else None,
        cap_mm=float(cap.value) if cap else None,
    )


def require_defence(revision: ProcedureRevision) -> None:
    """Refuse a limit that doesn't defend the uncertainty that budgets claim.

    The two are compared where the check is made: at the artefact's calibrated length,
    or at zero for a size or a form.

    Raises
    ------
    NotAcceptable
        With what the limit would have to be, or if the claim is not above zero.
    """
    claimed = revision.claimed_u
    if claimed is None:
        return
    spans = quantity_of(revision) in (
        computing.Quantity.LENGTH,
        computing.Quantity.SPHERE_SPACING,
    )
    length_mm = newest_length_mm(revision) if spans else 0.0
    limit = limit_of(
        revision.limit_constant, revision.limit_per_metre, revision.limit_cap
    )
    try:
        found = computing.defence(limit, float(claimed.value), length_mm=length_mm)
    except MetrologyError as refusal:
        raise NotAcceptable(str(refusal), field="claimed_u") from None
    if not found.is_defended:
        raise NotAcceptable(
            f"{found.reason} A system that passes is known to err by no more than the "
            "limit, so that its standard uncertainty is limit/√3 (JCGM 100, 4.3.7). "
            "Narrow the limit, or claim more.",
            field="limit_constant",
        )


def newest_length_mm(revision: ProcedureRevision) -> float:
    """Return the prescribed value of the artefact by its newest certificate."""
    for calibration in calibrations_in_force(revision.artefact):
        value = reference_value(calibration, revision.calibrated_label)
        if value is not None:
            return float(value.value.value)
    return 0.0


def expansion_of(artefact: Device) -> computing.Expansion:
    per_k, u_per_k = artefact.expansion, artefact.expansion_u
    if per_k is None or u_per_k is None:
        raise NotAcceptable(
            f"{artefact.tag} has no coefficient of expansion in the register."
        )
    return computing.Expansion(float(per_k.value), float(u_per_k.value))


def _reference(
    revision: ProcedureRevision, value: CalibratedValue, temperature: Quantity
) -> computing.ReferenceValue:
    u = value.expanded_u.value / Decimal(value.coverage_factor_text)
    artefact = computing.Artefact(
        value_mm=float(value.value.value),
        u_mm=float(u),
        expansion=expansion_of(revision.artefact),
        reference_degc=float(value.temperature.value),
    )
    if quantity_of(revision).is_form:
        return computing.form_reference(artefact)
    return computing.length_reference(
        artefact,
        computing.Temperature(
            float(temperature.value), float(revision.temperature_u.value)
        ),
        computing.ProcessingState.AS_MEASURED,
    )


def _result(
    revision: ProcedureRevision,
    reference: computing.ReferenceValue,
    readings: Mapping[str, Quantity],
) -> computing.CheckResult:
    limit = limit_of(
        revision.limit_constant, revision.limit_per_metre, revision.limit_cap
    )
    rule = RULES[ProcedureRevision.Acceptance(revision.acceptance)]
    return computing.judge_check(
        [
            computing.judge_position(
                name,
                quantity_of(revision),
                float(readings[name].value),
                reference,
                limit,
                computing.Acceptance(rule),
            )
            for name in _in_order(revision.reading_names, readings)
        ]
    )


def _in_order(names: Sequence[str], readings: Mapping[str, Quantity]) -> list[str]:
    return [name for name in names if name in readings]
