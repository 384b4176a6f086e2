"""Warnings of the control charts, and what people did about them."""

from __future__ import annotations

from django.db import IntegrityError, transaction

from lab.accounts.models import User
from lab.checks.locks import lock_systems
from lab.checks.models import Acknowledgement, ChartWarning
from lab.common import audit
from lab.common.errors import WrongState
from lab.common.services import service
from lab.common.texts import refuse_placeholder


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
