"""Recording an artefact check: judged, frozen, and told to the lapse rules."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django.core.files import File
from django.db import IntegrityError, transaction

from lab.accounts.models import User
from lab.checks.charting.warnings import fired_with
from lab.checks.judging import Judged, judged
from lab.checks.locks import lock_systems
from lab.checks.models import (
    ArtefactCheck,
    ChartWarning,
    CheckReading,
    MeasuringSystem,
    ProcedureRevision,
)
from lab.checks.selectors import is_needed, newest_revision
from lab.common import audit, clock
from lab.common.errors import NotAcceptable, WrongState
from lab.common.files.models import StoredFile
from lab.common.files.store import store_file
from lab.common.services import service
from lab.common.work import enqueue
from lab.equipment.models import Calibration, Device, DeviceKind
from lab.equipment.selectors import current_calibration
from lab.metrology.units import Quantity


@service(may="checks.record")
def record_check(
    *,
    system: MeasuringSystem,
    procedure: ProcedureRevision,
    started_at: datetime,
    ended_at: datetime,
    artefact_temperature: Quantity,
    thermometer: Device,
    readings: Mapping[str, Quantity],
    form_key: str,
    source: StoredFile | None = None,
    source_note: str = "",
    acting_user: User,
) -> ArtefactCheck:
    """Record a check of a system and judge it by the procedure's newest revision.

    The same form sent twice gives the check that it made first, also when both come
    at once. The system's sessions are judged again, and a rule of its control chart
    that fires with this check leaves a warning. ``source`` is the file that the
    readings were read from.

    Raises
    ------
    NotAcceptable
        If the times, the thermometer, the temperature or the readings can't be right,
        or the artefact or the thermometer had no current calibration.
    WrongState
        If the procedure isn't the system's, or was revised meanwhile.
    """
    lock_systems([system])
    earlier = _made_by(form_key, system)
    if earlier is not None:
        audit.nothing_changed()
        return earlier
    _require_procedure(system, procedure)
    _require_sense(started_at, ended_at)
    came_out = judged(
        revision=procedure,
        started_at=started_at,
        artefact_temperature=artefact_temperature,
        readings=readings,
    )
    check = ArtefactCheck(
        system=system,
        procedure=procedure,
        calibration=came_out.calibration,
        started_at=started_at,
        ended_at=ended_at,
        thermometer=thermometer,
        thermometer_calibration=_calibrated(thermometer, started_at),
        source=source,
        source_note=source_note,
        verdict=came_out.result.verdict.value,
        worst_share=came_out.worst_share,
        reason=came_out.result.reason,
        measured_by=acting_user,
        form_key=form_key.strip(),
        **ArtefactCheck.artefact_temperature.columns(artefact_temperature),
    )
    return _keep(check, came_out.readings(readings), came_out)


def _keep(
    check: ArtefactCheck, rows: list[CheckReading], came_out: Judged
) -> ArtefactCheck:
    """Insert a check, or return the one that the same form made a moment ago."""
    try:
        with transaction.atomic():
            check.save(force_insert=True)
    except IntegrityError:
        earlier = _made_by(check.form_key, check.system)
        if earlier is None:
            raise
        audit.nothing_changed()
        return earlier
    for row in rows:
        row.artefact_check = check
        row.save(force_insert=True)
    audit.record(
        "check.recorded",
        check,
        actor=check.measured_by,
        after={
            "system": check.system.name,
            "procedure": str(check.procedure),
            "calibration": came_out.calibration.certificate_number,
            "started_at": check.started_at,
            "ended_at": check.ended_at,
            "artefact_temperature": str(check.artefact_temperature),
            "source": check.source.sha256 if check.source else "",
            "readings": {row.name: str(row.measured) for row in rows},
            "verdict": check.verdict,
            "reason": check.reason,
        },
    )
    _warn_of(check)
    enqueue("lapses.judge_system", check.system_id)
    return check


def _warn_of(check: ArtefactCheck) -> None:
    """Keep a warning for each watched rule that fires with a check just recorded."""
    for fired in fired_with(check):
        warning = ChartWarning.objects.create(
            artefact_check=check, rule=fired.rule, words=fired.words
        )
        audit.record(
            "warning.given",
            warning,
            actor=check.measured_by,
            after={"rule": fired.rule.label, "words": fired.words},
        )


def _made_by(form_key: str, system: MeasuringSystem) -> ArtefactCheck | None:
    key = form_key.strip()
    longest = ArtefactCheck._meta.get_field("form_key").max_length or 0
    if not key or len(key) > longest:
        raise NotAcceptable("This form has no key of its own. Open it anew.")
    earlier = ArtefactCheck.objects.filter(form_key=key).first()
    if earlier is not None and earlier.system_id != system.pk:
        raise WrongState("This form made a check of another system. Open it anew.")
    return earlier


def _require_procedure(system: MeasuringSystem, revision: ProcedureRevision) -> None:
    if not is_needed(system, revision.procedure, clock.now()):
        raise WrongState(f"{revision.procedure.code} is no procedure of {system}.")
    newest = newest_revision(revision.procedure)
    if newest is None or newest.pk != revision.pk:
        raise WrongState(
            f"{revision.procedure.code} was revised meanwhile: {newest} counts. "
            "Open the form anew and measure by that."
        )


def _require_sense(started_at: datetime, ended_at: datetime) -> None:
    clock.require_not_future(started_at, field="started_at")
    clock.require_not_future(ended_at, field="ended_at")
    if ended_at < started_at:
        raise NotAcceptable("The check ends before it starts.", field="ended_at")


def _calibrated(meter: Device, at: datetime) -> Calibration:
    """Return the calibration of a contact thermometer that was current."""
    if meter.kind != DeviceKind.CONTACT_THERMOMETER:
        raise NotAcceptable(
            f"{meter.tag} is no contact thermometer: the artefact's own temperature "
            "counts, not that of the air.",
            field="thermometer",
        )
    calibration = current_calibration(meter, at)
    if calibration is None:
        raise NotAcceptable(
            f"{meter.tag} had no current calibration at that time. Read the "
            "temperature with a thermometer that is calibrated.",
            field="thermometer",
        )
    return calibration


@service(may="checks.record")
def keep_source(*, upload: File[Any], acting_user: User) -> StoredFile:
    """Keep a file that a check's readings were read from, as it came.

    Raises
    ------
    NotAcceptable
        If it is too large, empty, or of a type that is not taken.
    """
    upload.seek(0)
    stored = store_file(upload, name=upload.name or "readings", kind="other")
    audit.record("check.file_read", stored, actor=acting_user)
    return stored
