"""Every write about calibrations."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from django.db import IntegrityError, transaction

from lab.accounts.models import User
from lab.common import audit, clock
from lab.common.errors import NotAcceptable, WrongState
from lab.common.files.models import StoredFile
from lab.common.services import service
from lab.common.texts import optional_text, refuse_placeholder
from lab.common.work import enqueue
from lab.equipment.entries import CalibratedEntry
from lab.equipment.models import CalibratedValue, Calibration, Device
from lab.laboratory.selectors import home_zone


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
    accreditation: str = "",
    document: StoredFile | None = None,
    adjusted: bool = False,
    notes: str = "",
    supersedes: Calibration | None = None,
    acting_user: User,
) -> Calibration:
    """Record a calibration as its certificate states it. It is frozen from then on.

    Sessions whose chain holds the device are judged again: a due day may have moved
    into one of them, or out of it.

    Raises
    ------
    NotAcceptable
        If the days are out of order or in the future, an artefact has no value, or a
        value makes no sense.
    WrongState
        If the certificate is recorded already, or corrected meanwhile.
    """
    _check_days(calibrated_on, counts_from, due_on)
    if device.is_artefact and not values:
        raise NotAcceptable(
            "An artefact's calibration has at least one value: the checks need it.",
            field="values",
        )
    columns = [entry.columns() for entry in values]
    try:
        with transaction.atomic():
            made = Calibration.objects.create(
                device=device,
                calibrated_on=calibrated_on,
                counts_from=counts_from,
                due_on=due_on,
                certificate_number=refuse_placeholder(
                    certificate_number, "certificate_number"
                ),
                provider=refuse_placeholder(provider, "provider"),
                accreditation=optional_text(accreditation, "accreditation"),
                document=document,
                adjusted=adjusted,
                requirement_met=requirement_met,
                notes=notes.strip(),
                supersedes=supersedes,
                recorded_by=acting_user,
            )
    except IntegrityError:
        raise WrongState(
            f"Certificate {certificate_number} is recorded for {device.tag} already. "
            "Correct that recording if it is wrong."
        ) from None
    for values_of_one in columns:
        CalibratedValue.objects.create(calibration=made, **values_of_one)
    audit.record(
        "calibration.recorded",
        made,
        actor=acting_user,
        after={
            "counts_from": counts_from,
            "due_on": due_on,
            "requirement_met": requirement_met,
            "supersedes": supersedes and supersedes.pk,
            "values": columns,
        },
    )
    enqueue("lapses.judge_device", device.pk)
    return made


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
