"""Every write about calibrations."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import Any

from django.core.files.base import File
from django.db import IntegrityError, transaction

from lab.accounts.models import User
from lab.common import audit, clock
from lab.common.errors import NotAcceptable, WrongState
from lab.common.files.models import StoredFile
from lab.common.files.store import store_file
from lab.common.services import service
from lab.common.texts import optional_text, refuse_placeholder
from lab.common.work import enqueue
from lab.equipment.entries import CalibratedEntry, CorrectionEntry
from lab.equipment.models import (
    CalibratedValue,
    Calibration,
    Device,
    DeviceKind,
    SensorCorrection,
)
from lab.laboratory.selectors import home_zone

#: Kinds whose readings are corrected by their calibration.
SENSORS = (DeviceKind.CONTACT_THERMOMETER, DeviceKind.LOGGER)


@service(may="calibrations.record")
def record_calibration(
    *,
    device: Device,
    calibrated_on: date,
    counts_from: date,
    due_on: date,
    certificate_number: str,
    provider: str,
    requirement_met: bool,
    values: Sequence[CalibratedEntry] = (),
    corrections: Sequence[CorrectionEntry] = (),
    accreditation: str = "",
    document: StoredFile | None = None,
    upload: File[Any] | None = None,
    adjusted: bool = False,
    notes: str = "",
    supersedes: Calibration | None = None,
    reason: str = "",
    acting_user: User,
) -> Calibration:
    """Record a calibration as its certificate states it. It is frozen from then on.

    It doesn't count before a person accepts it
    (:func:`lab.equipment.services.accept_calibration`); until then the device is out
    of use from its first day on. One that doesn't meet the requirement ends the one
    before at once.

    Raises
    ------
    NotAcceptable
        If the days are out of order or in the future, an artefact has no value, a
        result makes no sense, or a correction comes without its reason.
    WrongState
        If the certificate is recorded already, or corrected meanwhile.
    """
    _check_days(calibrated_on, counts_from, due_on)
    _check_kind(device, values, corrections)
    columns = {
        "calibrated_on": calibrated_on,
        "counts_from": counts_from,
        "due_on": due_on,
        "certificate_number": refuse_placeholder(
            certificate_number, "certificate_number"
        ),
        "provider": refuse_placeholder(provider, "provider"),
        "accreditation": optional_text(accreditation, "accreditation"),
        "adjusted": adjusted,
        "requirement_met": requirement_met,
        "notes": notes.strip(),
        **_superseding(device, supersedes, reason),
    }
    if upload is not None:
        document = store_file(upload, name=upload.name or "", kind="other")
    made = _created(device, columns, document, acting_user)
    results = [value.columns() for value in values]
    results += [correction.columns() for correction in corrections]
    _keep_results(made, values, corrections)
    audit.record(
        "calibration.recorded",
        made,
        actor=acting_user,
        reason=made.reason,
        after={
            "counts_from": counts_from,
            "due_on": due_on,
            "requirement_met": requirement_met,
            "supersedes": supersedes and supersedes.pk,
            "document": document and document.sha256,
            "values": results,
        },
    )
    enqueue("lapses.judge_device", device.pk)
    enqueue("jobs.device_calibrated", device.pk)
    return made


def _created(
    device: Device,
    columns: dict[str, Any],
    document: StoredFile | None,
    acting_user: User,
) -> Calibration:
    try:
        with transaction.atomic():
            return Calibration.objects.create(
                device=device, document=document, recorded_by=acting_user, **columns
            )
    except IntegrityError:
        number = columns["certificate_number"]
        raise WrongState(
            f"Certificate {number} is recorded for {device.tag} already. "
            "Correct that recording if it is wrong."
        ) from None


def _keep_results(
    made: Calibration,
    values: Sequence[CalibratedEntry],
    corrections: Sequence[CorrectionEntry],
) -> None:
    """Keep the results; two of one name and moment are one too many.

    Raises
    ------
    NotAcceptable
        If a number makes no sense, or stands there twice.
    """
    try:
        with transaction.atomic():
            for value in values:
                CalibratedValue.objects.create(calibration=made, **value.columns())
            for correction in corrections:
                SensorCorrection.objects.create(
                    calibration=made, **correction.columns()
                )
    except IntegrityError:
        raise NotAcceptable(
            "Two results have one name, or one reading, and both are as found or both "
            "as left. Tell them apart.",
            field="values",
        ) from None


def _superseding(
    device: Device, supersedes: Calibration | None, reason: str
) -> dict[str, Any]:
    if supersedes is None:
        return {}
    if supersedes.device_id != device.pk:
        raise NotAcceptable("That recording is of another device.")
    return {"supersedes": supersedes, "reason": refuse_placeholder(reason, "reason")}


def _check_kind(
    device: Device,
    values: Sequence[CalibratedEntry],
    corrections: Sequence[CorrectionEntry],
) -> None:
    if device.is_artefact and not values:
        raise NotAcceptable(
            "An artefact's calibration has at least one value: the checks need it.",
            field="values",
        )
    if corrections and device.kind not in SENSORS:
        raise NotAcceptable(
            f"{device.tag} is no thermometer and no logger: it has no corrections of "
            "temperature.",
            field="corrections",
        )


def _check_days(calibrated_on: date, counts_from: date, due_on: date) -> None:
    today = clock.today(home_zone())
    if calibrated_on > today:
        raise NotAcceptable(
            "The day of calibration lies in the future.", field="calibrated_on"
        )
    if counts_from < calibrated_on:
        raise NotAcceptable(
            "Values can't count from before the day of calibration.",
            field="counts_from",
        )
    if due_on < counts_from:
        raise NotAcceptable(
            "The last day on which it is current lies before the first.",
            field="due_on",
        )
