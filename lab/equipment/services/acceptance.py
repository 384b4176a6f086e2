"""What is required of a device, and a person's decision on a recorded calibration."""

from __future__ import annotations

from django.db import IntegrityError, transaction

from lab.accounts.models import User
from lab.common import audit
from lab.common.errors import NotAcceptable, WrongState
from lab.common.services import service
from lab.common.texts import refuse_placeholder
from lab.common.work import enqueue
from lab.equipment.models import (
    Calibration,
    CalibrationAcceptance,
    Device,
    Requirement,
)
from lab.equipment.requirements import comparisons, requirement_of
from lab.metrology.units import Quantity


@service(may="calibrations.accept")
def set_requirement(
    *,
    device: Device,
    statement: str,
    label: str = "",
    reference: Quantity | None = None,
    limit: Quantity | None = None,
    largest_u: Quantity | None = None,
    largest_correction: Quantity | None = None,
    largest_correction_u: Quantity | None = None,
    acting_user: User,
) -> Requirement:
    """Say what the lab requires of a device's calibrations from now on.

    Raises
    ------
    NotAcceptable
        If the statement is missing, a limit isn't above zero, or a reference stands
        there without the name of its value.
    """
    limits = {
        "limit": limit,
        "largest_u": largest_u,
        "largest_correction": largest_correction,
        "largest_correction_u": largest_correction_u,
    }
    for name, quantity in limits.items():
        if quantity is not None and quantity.value <= 0:
            raise NotAcceptable("A limit is above zero.", field=name)
    if reference is not None and not label.strip():
        raise NotAcceptable(
            "Name the value that the reference length is for.", field="label"
        )
    made = Requirement.objects.create(
        device=device,
        statement=refuse_placeholder(statement, "statement"),
        label=label.strip(),
        recorded_by=acting_user,
        **Requirement.reference.columns(reference),
        **Requirement.limit.columns(limit),
        **Requirement.largest_u.columns(largest_u),
        **Requirement.largest_correction.columns(largest_correction),
        **Requirement.largest_correction_u.columns(largest_correction_u),
    )
    audit.record(
        "requirement.set",
        made,
        actor=acting_user,
        after={"statement": made.statement, "label": made.label}
        | {
            name: str(quantity)
            for name, quantity in ({"reference": reference} | limits).items()
            if quantity is not None
        },
    )
    return made


@service(may="calibrations.accept")
def accept_calibration(
    *, calibration: Calibration, words: str, acting_user: User
) -> CalibrationAcceptance:
    """Accept a recorded calibration: the device may be used by it from its first day.

    Raises
    ------
    WrongState
        If it was decided on or corrected meanwhile.
    NotAcceptable
        If it was recorded as not meeting the requirement, or a number doesn't.
    """
    requirement = requirement_of(calibration.device)
    found = comparisons(calibration, requirement)
    unmet = [one.words for one in found if not one.is_met]
    if unmet or not calibration.requirement_met:
        said = " ".join(unmet) or "It was recorded as not meeting the requirement."
        raise NotAcceptable(
            f"{said} Reject it, or set another requirement with its reason first.",
            field="words",
        )
    return _decide(calibration, requirement, words, acting_user, accepted=True)


@service(may="calibrations.accept")
def reject_calibration(
    *, calibration: Calibration, words: str, acting_user: User
) -> CalibrationAcceptance:
    """Reject a recorded calibration: the device has none from its first day on.

    Raises
    ------
    WrongState
        If it was decided on or corrected meanwhile.
    """
    requirement = requirement_of(calibration.device)
    return _decide(calibration, requirement, words, acting_user, accepted=False)


def _decide(
    calibration: Calibration,
    requirement: Requirement | None,
    words: str,
    acting_user: User,
    *,
    accepted: bool,
) -> CalibrationAcceptance:
    """Write the decision, once, and have the sessions that lean on it judged again."""
    if Calibration.objects.filter(supersedes=calibration).exists():
        raise WrongState(
            "This recording was corrected meanwhile. Decide on the correction."
        )
    found = comparisons(calibration, requirement)
    try:
        with transaction.atomic():
            made = CalibrationAcceptance.objects.create(
                calibration=calibration,
                accepted=accepted,
                requirement=requirement,
                findings="\n".join(
                    f"{'met' if one.is_met else 'not met'}: {one.words}"
                    for one in found
                ),
                words=refuse_placeholder(words, "words"),
                decided_by=acting_user,
            )
    except IntegrityError:
        raise WrongState("This calibration was decided on already.") from None
    audit.record(
        "calibration.accepted" if accepted else "calibration.rejected",
        calibration,
        actor=acting_user,
        reason=made.words,
        after={
            "counts_from": calibration.counts_from,
            "requirement": requirement and requirement.statement,
            "findings": made.findings,
        },
    )
    enqueue("lapses.judge_device", calibration.device_id)
    enqueue("jobs.device_calibrated", calibration.device_id)
    return made
