"""Statements of conformity: tolerance, agreed rule, verdict, risk.

``Tolerance``, ``Evaluation``, ``require_evaluable``
    What is required, and how a form value was evaluated.
``Rule``, ``RuleKind``, ``Burden``, ``Verdict``
    What was agreed.
``acceptance_limits``
    For contract review: what would be accepted, refused if nothing.
``decide``
    One result against one tolerance: verdict, limits, probability, risk, sentence.
``global_risk``
    Consumer's and producer's risk of a process under a rule.
"""

from __future__ import annotations

from lab.metrology.conformity.decision import Decision, decide
from lab.metrology.conformity.limits import (
    AcceptanceLimits,
    Conformance,
    EmptyAcceptance,
    acceptance_limits,
    conformance,
)
from lab.metrology.conformity.risk import GlobalRisk, ProcessPrior, global_risk
from lab.metrology.conformity.rules import Burden, Rule, RuleKind, Verdict
from lab.metrology.conformity.sentence import rule_text
from lab.metrology.conformity.tolerance import (
    ConditionsNotStated,
    Evaluation,
    MaterialCondition,
    NotEvaluable,
    Tolerance,
    require_evaluable,
)

__all__ = [
    "AcceptanceLimits",
    "Burden",
    "ConditionsNotStated",
    "Conformance",
    "Decision",
    "EmptyAcceptance",
    "Evaluation",
    "GlobalRisk",
    "MaterialCondition",
    "NotEvaluable",
    "ProcessPrior",
    "Rule",
    "RuleKind",
    "Tolerance",
    "Verdict",
    "acceptance_limits",
    "conformance",
    "decide",
    "global_risk",
    "require_evaluable",
    "rule_text",
]
