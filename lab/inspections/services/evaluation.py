"""Deciding anew under a later agreement, and ending the evaluation of a job."""

from __future__ import annotations

from lab.accounts.models import User
from lab.common import audit
from lab.common.errors import WrongState
from lab.common.services import service
from lab.inspections.entries import ResultEntry
from lab.inspections.guards import CORRECTABLE, require_agreement, require_state
from lab.inspections.models import Decision, Result
from lab.inspections.selectors import (
    earlier_recordings,
    missing_results,
    results_in_force,
    undecided_results,
)
from lab.inspections.verdicts import decide_entries
from lab.jobs.models import Job, JobState
from lab.jobs.states import advance, lock_job, require_no_open_session
from lab.parts.models import Characteristic

#: What must be the same for a value to be of the same thing on a later drawing.
SAME = ("number", "kind", "description", "unit", "nominal_text", "evaluation")


@service(may="results.record")
def decide_anew(*, job: Job, acting_user: User) -> list[Decision]:
    """Decide a job's results under the agreement in force, where they are not yet.

    Values of an earlier recording of the drawing are carried over to characteristics
    that are the same but for their tolerance. What was decided before stays.

    Raises
    ------
    NotAcceptable
        If the rule could accept no value at the uncertainty of some result.
    WrongState
        If nothing is agreed, or the job is in no state for it.
    """
    job = lock_job(job)
    require_state(job, states=CORRECTABLE)
    agreement = require_agreement(job)
    _carry_over(job, acting_user)
    results = undecided_results(job, agreement)
    if not results:
        audit.nothing_changed()
        return []
    entries = [ResultEntry.of(result) for result in results]
    made = Decision.objects.bulk_create(
        Decision(result=result, agreement=agreement, **decision.columns())
        for result, decision in zip(
            results, decide_entries(agreement, job, entries), strict=True
        )
    )
    audit.record(
        "results.decided_anew",
        job,
        actor=acting_user,
        after={
            "review": agreement.number,
            "verdicts": [[str(one.result), one.verdict] for one in made],
        },
    )
    return made


@service(may="results.record")
def finish_evaluation(*, job: Job, acting_user: User) -> Job:
    """Say that every item has a decided result for every characteristic.

    Raises
    ------
    WrongState
        If something is missing (it is named), a session is open, or the job is not
        being measured.
    """
    job = lock_job(job)
    require_no_open_session(job)
    agreement = require_agreement(job)
    missing = missing_results(job)
    if missing:
        item, one = missing[0]
        more = f", and {len(missing) - 1} more" if len(missing) > 1 else ""
        raise WrongState(
            f"{item.serial} has no result for characteristic {one.number}{more}. "
            "Record what is missing first."
        )
    if undecided_results(job, agreement):
        raise WrongState(
            "The results were decided under an earlier contract review. Decide them "
            "anew first."
        )
    advance(job, JobState.EVALUATED, actor=acting_user)
    return job


def _carry_over(job: Job, person: User) -> None:
    """Take values of an earlier recording of the drawing over to the one agreed."""
    now = {one.number: one for one in job.part_revision.characteristics.all()}
    there = set(results_in_force(job).values_list("item", "characteristic"))
    for result in earlier_recordings(job):
        target = now.get(result.characteristic.number)
        if target is None or not _is_same(result.characteristic, target):
            continue
        if (result.item_id, target.pk) in there:
            continue
        columns = ResultEntry.of(result).columns() | {"characteristic": target}
        made = Result.objects.create(
            job=job,
            session=result.session,
            supersedes=result,
            reason=f"Carried over to {job.part_revision}.",
            evaluated_by=result.evaluated_by,
            entered_by=person,
            **columns,
        )
        audit.record("result.carried_over", made, actor=person, reason=made.reason)


def _is_same(old: Characteristic, new: Characteristic) -> bool:
    return all(getattr(old, name) == getattr(new, name) for name in SAME)
