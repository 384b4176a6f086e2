"""Conditions of a session assessed in µm: kept, and with it their holds decided."""

from __future__ import annotations

from lab.accounts.models import User
from lab.common import audit
from lab.common.errors import NotAcceptable, WrongState
from lab.common.services import service
from lab.common.texts import refuse_placeholder
from lab.jobs.models import MeasuringSession
from lab.jobs.services import clear_holds
from lab.lapses.assessing import assessment_of, open_findings
from lab.lapses.models import AssessedCharacteristic, ConditionsAssessment


@service(may="holds.clear")
def assess_conditions(
    *, session: MeasuringSession, outcome: str, reason: str, acting_user: User
) -> ConditionsAssessment:
    """Keep the bound on each characteristic with the decision.

    Where the results stand, the holds of the session's conditions are cleared by it;
    where they are not used, the holds stay until somebody has seen to that.

    Raises
    ------
    NotAcceptable
        If the outcome is none, or the reason is a placeholder.
    WrongState
        If no finding on the conditions is open, or the air was never read.
    """
    if outcome not in ConditionsAssessment.Outcome.values:
        raise NotAcceptable("Say whether the results stand.", field="outcome")
    text = refuse_placeholder(reason, "reason")
    locked = MeasuringSession.objects.select_for_update().get(pk=session.pk)
    found = open_findings(locked)
    if not found:
        raise WrongState("Nothing about the conditions of this session is open.")
    bound = assessment_of(locked)
    if bound is None:
        raise WrongState(
            "No logger read the air of this session, so nothing can be computed. Clear "
            "the hold with a reason, or measure anew."
        )
    made = ConditionsAssessment.objects.create(
        session=locked,
        outcome=outcome,
        reason=text,
        reference_degc=bound.reference_degc,
        deviation_k=bound.deviation_k,
        u_k=bound.u_k,
        basis=bound.basis,
        assessed_by=acting_user,
    )
    for one in bound.effects:
        AssessedCharacteristic.objects.create(
            assessment=made,
            characteristic=one.characteristic,
            shift_um=one.shift_um,
            expanded_u_um=one.expanded_u_um,
            tolerance_um=one.tolerance_um,
        )
    audit.record(
        "session.conditions_assessed",
        locked,
        actor=acting_user,
        reason=text,
        after={"outcome": outcome, "basis": bound.basis},
    )
    if outcome == ConditionsAssessment.Outcome.STAND:
        worst = max(bound.effects, key=lambda one: one.bound.most_mm, default=None)
        said = "" if worst is None else f" At most {1000 * worst.bound.most_mm:.0f} µm."
        clear_holds(
            holds=[one.hold for one in found],
            reason=f"{text}{said}",
            acting_user=acting_user,
        )
    return made
