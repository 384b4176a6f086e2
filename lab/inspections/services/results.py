"""Recording results, each decided at once; correcting them by later ones."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from django.db import IntegrityError, transaction

from lab.accounts.models import User
from lab.common import audit
from lab.common.errors import NotAcceptable, WrongState
from lab.common.services import service
from lab.common.texts import refuse_placeholder
from lab.inspections.entries import ResultEntry
from lab.inspections.guards import (
    CORRECTABLE,
    require_agreement,
    require_evaluator,
    require_source,
    require_state,
)
from lab.inspections.models import Decision, Result
from lab.inspections.selectors import results_in_force
from lab.inspections.verdicts import decide_entries
from lab.jobs.models import Job, JobState, MeasuringSession
from lab.jobs.states import lock_job


@service(may="results.record")
def record_results(
    *,
    job: Job,
    session: MeasuringSession | None = None,
    entries: Sequence[ResultEntry],
    evaluated_by: User,
    acting_user: User,
) -> list[Result]:
    """Record results of one session, all or none, each decided as it is recorded.

    Without a session, each entry names the outside provider who measured.

    Raises
    ------
    NotAllowed
        If the evaluator is not authorised to evaluate by the agreed method.
    NotAcceptable
        Naming item and characteristic: a number or text that can't be kept, an item
        that the session did not measure, one that has a result already.
    WrongState
        If the job is not being measured, or nothing is agreed.
    """
    job = lock_job(job)
    require_state(job, states=frozenset({JobState.MEASURING}))
    agreement = require_agreement(job)
    require_evaluator(evaluated_by, agreement)
    require_source(job, session, entries)
    _require_new(job, entries)
    results = [
        Result(
            job=job,
            session=session,
            evaluated_by=evaluated_by,
            entered_by=acting_user,
            **entry.columns(),
        )
        for entry in entries
    ]
    decisions = decide_entries(agreement, job, entries)
    Result.objects.bulk_create(results)
    Decision.objects.bulk_create(
        Decision(result=result, agreement=agreement, **decision.columns())
        for result, decision in zip(results, decisions, strict=True)
    )
    audit.record(
        "results.recorded",
        job,
        actor=acting_user,
        after={
            "session": session.pk if session else None,
            "evaluated_by": evaluated_by.name,
            "results": [
                [str(result), str(result.expanded_u), decision.verdict]
                for result, decision in zip(results, decisions, strict=True)
            ],
        },
    )
    return results


@service(may="results.record")
def correct_result(
    *,
    result: Result,
    entry: ResultEntry,
    reason: str,
    session: MeasuringSession | None = None,
    acting_user: User,
) -> Result:
    """Put a new value in the place of one, with the reason; the old one is kept.

    ``session`` is given where it was measured anew; else it stays the old value's.
    A certificate that states the old value is not touched: it is amended.

    Raises
    ------
    NotAllowed
        If the person is not authorised to evaluate by the agreed method.
    NotAcceptable
        Without a reason, for another item or characteristic, or as recording does.
    WrongState
        If the value was corrected already, or the job is in no state for it.
    """
    text = refuse_placeholder(reason, "reason")
    job = lock_job(result.job)
    require_state(job, states=CORRECTABLE)
    agreement = require_agreement(job)
    require_evaluator(acting_user, agreement)
    if (entry.item.pk, entry.characteristic.pk) != (
        result.item_id,
        result.characteristic_id,
    ):
        raise NotAcceptable("A correction is about the same item and characteristic.")
    if session is None and not entry.provider.strip():
        session = result.session
    require_source(job, session, [entry])
    (decision,) = decide_entries(agreement, job, [entry])
    try:
        with transaction.atomic():
            made = Result.objects.create(
                job=job,
                session=session,
                supersedes=result,
                reason=text,
                evaluated_by=acting_user,
                entered_by=acting_user,
                **entry.columns(),
            )
    except IntegrityError:
        raise WrongState("This result was corrected already.") from None
    Decision.objects.create(result=made, agreement=agreement, **decision.columns())
    audit.record(
        "result.corrected",
        made,
        actor=acting_user,
        reason=text,
        before={"value": str(result.value), "U": str(result.expanded_u)},
        after={
            "value": str(made.value),
            "U": str(made.expanded_u),
            "verdict": decision.verdict,
        },
    )
    return made


def _require_new(job: Job, entries: Sequence[ResultEntry]) -> None:
    if not entries:
        raise NotAcceptable("There is no value to record.", field="entries")
    counts = Counter((entry.item.pk, entry.characteristic.pk) for entry in entries)
    there = set(results_in_force(job).values_list("item", "characteristic"))
    for entry in entries:
        key = (entry.item.pk, entry.characteristic.pk)
        if counts[key] > 1:
            raise NotAcceptable(f"{entry.name} stands there twice.", field="entries")
        if key in there:
            raise NotAcceptable(
                f"{entry.name} has a result already. Correct that one.",
                field="entries",
            )
