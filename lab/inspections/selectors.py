"""What was measured, what it means, and what is still missing."""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from django.db.models import Exists, OuterRef, Q, QuerySet

from lab.accounts.models import User
from lab.common import clock
from lab.inspections.models import Decision, Result
from lab.jobs.models import Agreement, Job, JobItem, MeasuringSession
from lab.jobs.selectors import agreement_in_force, claimed_u
from lab.laboratory.models import Activity, Authorisation
from lab.laboratory.selectors import home_zone, in_force
from lab.parts.models import Characteristic

Key = tuple[int, int]


def results_in_force(job: Job) -> QuerySet[Result]:
    """Return the job's results that no correction supersedes, of its drawing now."""
    rows = Result.objects.filter(
        job=job,
        superseded_by=None,
        characteristic__revision=job.part_revision_id,
    )
    return rows.select_related(
        "item",
        "characteristic",
        "session__system",
        "session__room__site",
        "evaluated_by",
        "entered_by",
    ).order_by("item__position", "characteristic__position")


def decision_of(result: Result, agreement: Agreement) -> Decision | None:
    """Return what a result means under an agreement, if it was decided under it."""
    return Decision.objects.filter(result=result, agreement=agreement).first()


def decisions_under(
    agreement: Agreement | None, results: Iterable[Result]
) -> dict[int, Decision]:
    """Return the decisions of some results under one agreement, by result."""
    keys = [result.pk for result in results]
    rows = Decision.objects.filter(agreement=agreement, result__in=keys)
    return {decision.result_id: decision for decision in rows}


def details_of(decision: Decision) -> dict[str, Any]:
    """Return a decision's limits, probability, risk and words as they were kept."""
    kept: dict[str, Any] = json.loads(decision.details_text)
    return kept


def items_to_measure(job: Job) -> QuerySet[JobItem]:
    """Return a job's items, but for those that left before anybody measured them."""
    measured = MeasuringSession.objects.filter(items=OuterRef("pk"))
    here = Q(returning=None) | Exists(measured)
    return job.items.filter(here).order_by("position")


def wanted_results(job: Job) -> list[tuple[JobItem, Characteristic]]:
    """Return every item with every characteristic of the drawing, in their order."""
    characteristics = list(job.part_revision.characteristics.all())
    return [(item, one) for item in items_to_measure(job) for one in characteristics]


def missing_results(job: Job) -> list[tuple[JobItem, Characteristic]]:
    """Return what has no result in force yet."""
    there = set(results_in_force(job).values_list("item", "characteristic"))
    return [
        (item, one)
        for item, one in wanted_results(job)
        if (item.pk, one.pk) not in there
    ]


def undecided_results(job: Job, agreement: Agreement) -> list[Result]:
    """Return the results in force that were not decided under an agreement."""
    decided = Decision.objects.filter(agreement=agreement, result=OuterRef("pk"))
    return list(results_in_force(job).filter(~Exists(decided)))


def earlier_recordings(job: Job) -> QuerySet[Result]:
    """Return results in force of an earlier recording of the drawing."""
    rows = Result.objects.filter(job=job, superseded_by=None)
    return rows.exclude(characteristic__revision=job.part_revision_id).select_related(
        "item", "characteristic"
    )


def history_of(result: Result) -> list[Result]:
    """Return a value and all that came before it, newest first."""
    found = [result]
    while found[-1].supersedes is not None:
        found.append(found[-1].supersedes)
    return found


def smallest_claims(
    agreement: Agreement, characteristics: Iterable[Characteristic]
) -> dict[int, Decimal | None]:
    """Return the CMC of each characteristic under the agreed method."""
    return {one.pk: claimed_u(agreement.method, one) for one in characteristics}


def evaluators(job: Job) -> QuerySet[User]:
    """Return who is authorised to evaluate by the agreed method now."""
    agreement = agreement_in_force(job)
    if agreement is None:
        return User.objects.none()
    rows = Authorisation.objects.filter(
        method=agreement.method.method, activity=Activity.EVALUATE
    )
    allowed = in_force(rows, clock.now(), home_zone())
    return User.objects.filter(pk__in=allowed.values("person"), is_active=True)


# --- As pages show them -----------------------------------------------------------


@dataclass(frozen=True, slots=True)
class ShownResult:
    """A result with its decision under the agreement in force."""

    result: Result
    decision: Decision | None

    @property
    def shape(self) -> str:
        """Return the class of the state sign that goes with the verdict."""
        if self.decision is None or not self.decision.verdict:
            return "state-off"
        accepts = details_of(self.decision)["accepts"]
        conditional = self.decision.verdict.startswith(("conditional", "neither"))
        return "state-wait" if conditional else f"state-{'good' if accepts else 'bad'}"

    @property
    def word(self) -> str:
        if self.decision is None:
            return "not decided"
        return self.decision.verdict or "no statement"


def shown_results(job: Job) -> list[ShownResult]:
    """Return a job's results in force with what they mean now, in two queries."""
    results = list(results_in_force(job))
    decisions = decisions_under(agreement_in_force(job), results)
    return [ShownResult(one, decisions.get(one.pk)) for one in results]
