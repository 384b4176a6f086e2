"""Warnings of the control charts: given when a check is recorded, then acted upon."""

from __future__ import annotations

from django.db import IntegrityError, transaction

from lab.accounts.models import User
from lab.checks.charting.warnings import fired_with
from lab.checks.locks import lock_systems
from lab.checks.models import Acknowledgement, ArtefactCheck, ChartWarning
from lab.common import audit
from lab.common.errors import WrongState
from lab.common.services import service
from lab.common.texts import refuse_placeholder


def warn_of(check: ArtefactCheck) -> list[ChartWarning]:
    """Keep a warning for each watched rule that fires with a check just recorded."""
    made = []
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
        made.append(warning)
    return made


@service(may="warnings.acknowledge")
def acknowledge_warning(
    *, warning: ChartWarning, note: str, acting_user: User
) -> Acknowledgement:
    """Say what was found and done about a warning; it is shown as open no longer.

    Raises
    ------
    NotAcceptable
        If the note says nothing.
    WrongState
        If somebody has acknowledged it already.
    """
    lock_systems([warning.artefact_check.system])
    try:
        with transaction.atomic():
            made = Acknowledgement.objects.create(
                warning=warning,
                note=refuse_placeholder(note, "note"),
                acknowledged_by=acting_user,
            )
    except IntegrityError:
        raise WrongState("This warning is acknowledged already.") from None
    audit.record("warning.acknowledged", warning, actor=acting_user, reason=made.note)
    return made
