"""What still stands between a case and its closing, in sentences."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from lab.certificates.models import Certificate
from lab.evidence.models import (
    Action,
    Assessment,
    Case,
    CaseDecision,
    Letter,
    Telling,
)
from lab.evidence.reach import Touched, touched_by

Outcome = CaseDecision.Outcome


@dataclass(frozen=True, slots=True)
class Dossier:
    """A case with all that it touches, and all that was said and done about it."""

    case: Case
    touched: Touched
    assessments: list[Assessment]
    decisions: list[CaseDecision]
    letters: list[Letter]
    tellings: list[Telling]
    actions: list[Action]

    @property
    def assessment(self) -> Assessment | None:
        return self.assessments[-1] if self.assessments else None

    @property
    def standing_decisions(self) -> Mapping[int, CaseDecision]:
        """Return by certificate the decision that counts."""
        return {one.certificate_id: one for one in self.decisions}

    @property
    def told(self) -> set[int]:
        return {one.customer_id for one in self.tellings}

    def outstanding(self) -> list[str]:
        """Return all that is undone, in sentences; none when it may be closed."""
        return [
            *self._tasks(),
            *self._significance(),
            *self._decisions(),
            *self._tellings(),
            *self._actions(),
            *self._resumption(),
        ]

    def _tasks(self) -> Iterable[str]:
        for task in self.touched.tasks:
            if task.is_open:
                yield (
                    f"Session {task.session_id} of {task.session.system} used "
                    f"{task.shared} as well. Decide whether it is affected."
                )

    def _significance(self) -> Iterable[str]:
        if self.assessment is None:
            yield "Nobody has said how significant it is."

    def _decisions(self) -> Iterable[str]:
        standing = self.standing_decisions
        for certificate in self.touched.certificates:
            decision = standing.get(certificate.pk)
            if decision is None:
                yield f"Decide what becomes of certificate {certificate.number}."
            elif sentence := self._not_carried_out(certificate, decision):
                yield sentence

    def _not_carried_out(self, one: Certificate, decision: CaseDecision) -> str:
        withdrawn = hasattr(one, "withdrawal")
        changed = one.is_amended or hasattr(one, "replacement")  # type: ignore[attr-defined]
        if decision.outcome == Outcome.AMENDED and not changed:
            return f"{one.number} is to be amended, and no amendment is issued yet."
        if decision.outcome == Outcome.WITHDRAWN and not withdrawn:
            return f"{one.number} is to be withdrawn, and it is not yet."
        again = decision.outcome == Outcome.MEASURED_AGAIN
        if again and not (changed or withdrawn):
            return (
                f"{one.number} is to be measured again. Amend, replace or withdraw it "
                "after that, or decide that it stands and say what was measured."
            )
        return ""

    def _tellings(self) -> Iterable[str]:
        for customer in self.touched.customers:
            if customer.pk not in self.told:
                yield f"{customer} is not told, nor is it said why there is no need."

    def _actions(self) -> Iterable[str]:
        recurs = self.assessment is not None and self.assessment.may_recur
        if recurs and not self.actions:
            yield "It could happen again, and no corrective action is set down."
        for number, action in enumerate(self.actions, 1):
            if not hasattr(action, "done"):
                yield f"Action {number} is not done; due {action.due_on:%Y-%m-%d}."
            elif not hasattr(action, "effect"):
                yield (
                    f"Nobody has looked whether action {number} helped; due "
                    f"{action.effect_due_on:%Y-%m-%d}."
                )
            elif not action.effect.helped and number == len(self.actions):
                yield f"Action {number} did not help. Set down another."

    def _resumption(self) -> Iterable[str]:
        if not hasattr(self.case, "resumption"):
            yield "Nobody has let the work go on."


def dossier_of(case: Case) -> Dossier:
    return Dossier(
        case=case,
        touched=touched_by(case),
        assessments=list(case.assessments.select_related("assessed_by")),
        decisions=list(case.decisions.select_related("decided_by", "certificate")),
        letters=list(case.letters.select_related("customer", "drafted_by", "document")),
        tellings=list(case.tellings.select_related("customer", "told_by")),
        actions=list(
            case.actions.select_related(
                "responsible", "done__done_by", "effect__checked_by"
            )
        ),
    )
