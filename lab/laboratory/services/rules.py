"""Decision rules are offered, revised, and offered no longer."""

from __future__ import annotations

from lab.accounts.models import User
from lab.common import audit
from lab.common.errors import WrongState
from lab.common.services import service
from lab.common.texts import refuse_placeholder
from lab.laboratory.models import (
    DecisionRule,
    DecisionRuleRevision,
    DecisionRuleWithdrawal,
)
from lab.laboratory.records import described, insert
from lab.laboratory.ruling import Ruling


@service(may="decision_rules.revise")
def offer_decision_rule(
    *, name: str, ruling: Ruling, risk: str, acting_user: User
) -> DecisionRuleRevision:
    """Offer a new rule at contract review, as its first revision.

    Raises
    ------
    NotAcceptable
        If the name is taken, or name or risk say nothing.
    """
    rule = insert(DecisionRule(name=refuse_placeholder(name, "name")))
    revision = _insert_revision(rule, 1, ruling, risk, acting_user)
    audit.record(
        "decision_rule.offered", rule, actor=acting_user, after=_told(revision)
    )
    return revision


@service(may="decision_rules.revise")
def revise_decision_rule(
    *, rule: DecisionRule, ruling: Ruling, risk: str, reason: str, acting_user: User
) -> DecisionRuleRevision:
    """Let a rule say something else from now on; jobs keep what they agreed to.

    Revising a withdrawn rule offers it again.

    Raises
    ------
    NotAcceptable
        If risk or reason say nothing.
    """
    reason = refuse_placeholder(reason, "reason")
    rule = DecisionRule.objects.select_for_update().get(pk=rule.pk)
    last = rule.revisions.order_by("number").last()
    number = last.number + 1 if last else 1
    revision = _insert_revision(rule, number, ruling, risk, acting_user)
    audit.record(
        "decision_rule.revised",
        rule,
        actor=acting_user,
        reason=reason,
        before=_told(last) if last else {},
        after=_told(revision),
    )
    return revision


@service(may="decision_rules.revise")
def withdraw_decision_rule(
    *, rule: DecisionRule, reason: str, acting_user: User
) -> DecisionRuleWithdrawal:
    """Offer a rule no longer. Jobs that agreed to it are decided by it all the same.

    Raises
    ------
    NotAcceptable
        If no reason is given.
    WrongState
        If it isn't offered.
    """
    reason = refuse_placeholder(reason, "reason")
    rule = DecisionRule.objects.select_for_update().get(pk=rule.pk)
    last = rule.revisions.order_by("number").last()
    if last is None or DecisionRuleWithdrawal.objects.filter(revision=last).exists():
        raise WrongState(f"“{rule}” is not offered any more.")
    withdrawal = insert(
        DecisionRuleWithdrawal(revision=last, reason=reason, withdrawn_by=acting_user)
    )
    audit.record(
        "decision_rule.withdrawn",
        rule,
        actor=acting_user,
        reason=reason,
        before=_told(last),
    )
    return withdrawal


def _insert_revision(
    rule: DecisionRule, number: int, ruling: Ruling, risk: str, person: User
) -> DecisionRuleRevision:
    return insert(
        DecisionRuleRevision(
            rule=rule,
            number=number,
            kind=ruling.kind,
            guard_factor_text=ruling.guard_factor,
            probability_percent_text=ruling.probability_percent,
            risk=refuse_placeholder(risk, "risk"),
            recorded_by=person,
        )
    )


def _told(revision: DecisionRuleRevision) -> dict[str, object]:
    return described(revision, "number", "text", "risk")
