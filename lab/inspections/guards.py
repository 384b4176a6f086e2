"""What must be so before a result is taken: agreement, authority, session, items."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from lab.accounts.models import User
from lab.common import clock
from lab.common.errors import NotAcceptable, NotAllowed, WrongState
from lab.inspections.entries import ResultEntry
from lab.inspections.selectors import items_to_measure
from lab.jobs.models import Agreement, Job, JobState, MeasuringSession
from lab.jobs.selectors import agreement_in_force, agreement_is_outdated
from lab.laboratory.models import Activity
from lab.laboratory.selectors import is_authorised

#: States in which a value may still be corrected: a certificate that states it is
#: amended by a further one, which opens no job again.
CORRECTABLE: Final = frozenset(
    {
        JobState.MEASURING,
        JobState.EVALUATED,
        JobState.IN_REVIEW,
        JobState.RETURNED,
    }
)


def require_agreement(job: Job) -> Agreement:
    """Return the agreement in force, or refuse to decide anything without one.

    Raises
    ------
    WrongState
        If nothing is agreed, or the drawing was recorded anew since.
    """
    agreement = agreement_in_force(job)
    if agreement is None:
        raise WrongState(
            f"Nothing is agreed for {job.number} yet. Record the contract review."
        )
    if agreement_is_outdated(job, agreement):
        raise WrongState(
            f"The drawing of {job.number} was recorded anew since it was agreed. "
            "Record the contract review again."
        )
    return agreement


def require_evaluator(person: User, agreement: Agreement) -> None:
    """Refuse values of somebody who may not evaluate by the agreed method.

    Raises
    ------
    NotAllowed
        This can't be passed over by anybody.
    """
    method = agreement.method.method
    if not is_authorised(person, method, Activity.EVALUATE, clock.now()):
        raise NotAllowed(
            f"{person} is not authorised to evaluate by {method.code}. The quality "
            "manager grants that."
        )


def require_state(job: Job, *, states: frozenset[JobState]) -> None:
    """Refuse results in a state of the job that has none.

    Raises
    ------
    WrongState
    """
    if job.state not in states:
        raise WrongState(
            f"{job.number} is {job.get_state_display().lower()}; its results can't be "
            "written now."
        )


def require_source(
    job: Job, session: MeasuringSession | None, entries: Sequence[ResultEntry]
) -> None:
    """Refuse values that are neither of a session of ours nor marked as others'.

    Raises
    ------
    NotAcceptable
        Naming the item that the session did not measure.
    """
    if session is not None and session.job_id != job.pk:
        raise NotAcceptable("The session is another job's.", field="session")
    measured = (
        set(session.items.values_list("pk", flat=True))
        if session is not None
        else set(items_to_measure(job).values_list("pk", flat=True))
    )
    characteristics = set(
        job.part_revision.characteristics.values_list("pk", flat=True)
    )
    for entry in entries:
        _require_marked(entry, session)
        if entry.item.job_id != job.pk:
            raise NotAcceptable(
                f"{entry.item.serial} is of another job.", field="entries"
            )
        if entry.item.pk not in measured:
            said = "was not measured in this session" if session else "is not here"
            raise NotAcceptable(f"{entry.item.serial} {said}.", field="session")
        if entry.characteristic.pk not in characteristics:
            raise NotAcceptable(
                f"{entry.name}: the agreed drawing has no such characteristic.",
                field="entries",
            )


def _require_marked(entry: ResultEntry, session: MeasuringSession | None) -> None:
    provider = entry.provider.strip()
    if session is None and not provider:
        raise NotAcceptable(
            f"{entry.name}: say in which session it was measured, or which outside "
            "provider measured it.",
            field="session",
        )
    if session is not None and provider:
        raise NotAcceptable(
            f"{entry.name}: a result is of a session of ours or of an outside "
            "provider, not of both.",
            field="provider",
        )
