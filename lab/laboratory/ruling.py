"""What a decision rule says, as a value, and its risk in plain words."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from lab.common.errors import NotAcceptable
from lab.laboratory.models import DecisionRuleKind, DecisionRuleRevision
from lab.metrology.conformity import (
    Burden,
    Rule,
    RuleKind,
    Tolerance,
    acceptance_limits,
    conformance,
)
from lab.metrology.errors import MetrologyError
from lab.metrology.rounding import print_probability
from lab.metrology.units import parse_decimal

GUARDED = frozenset({RuleKind.GUARDED, RuleKind.GUARDED_CONDITIONAL})
BY_PROBABILITY = frozenset({RuleKind.PROBABILITY, RuleKind.ISO_14253_1})
#: The model that the risks are worked out for, said beside them.
ASSUMPTION = (
    "Worked out for a normal distribution, a coverage factor of 2 and one limit of "
    "tolerance. Two limits closer together than five standard uncertainties share "
    "the risk; each decision states its own."
)
_LONGEST_NUMBER = 10


@dataclass(frozen=True, slots=True)
class Ruling:
    """A kind of rule and the one number that it needs, as typed.

    Raises
    ------
    NotAcceptable
        If the kind is unknown, or its number is missing, too much, unreadable or out
        of range.
    """

    kind: str
    guard_factor: str = ""
    probability_percent: str = ""

    def __post_init__(self) -> None:
        if self.kind not in DecisionRuleKind.values:
            raise NotAcceptable(
                f"There is no kind of rule “{self.kind}”.", field="kind"
            )
        kind = RuleKind(self.kind)
        self._tidy("guard_factor", wanted=kind in GUARDED)
        self._tidy("probability_percent", wanted=kind in BY_PROBABILITY)
        field = "guard_factor" if kind in GUARDED else "probability_percent"
        try:
            self.rule()
        except MetrologyError as refusal:
            raise NotAcceptable(str(refusal), field=field) from None

    def rule(self) -> Rule:
        """Return the core's rule; who must prove what is agreed with each job."""
        kind = RuleKind(self.kind)
        probability = self.probability_percent
        return Rule(
            kind,
            guard_factor=Decimal(self.guard_factor) if self.guard_factor else None,
            probability=Decimal(probability) / 100 if probability else None,
            burden=Burden.CONFORMITY if kind is RuleKind.ISO_14253_1 else None,
        )

    @property
    def risk_in_words(self) -> str:
        return risk_in_words(self.rule())

    @classmethod
    def of(cls, revision: DecisionRuleRevision) -> Ruling:
        """Return what a revision says, to begin the next one with."""
        return cls(
            revision.kind,
            revision.guard_factor_text,
            revision.probability_percent_text,
        )

    def _tidy(self, name: str, *, wanted: bool) -> None:
        typed = getattr(self, name).strip()
        if not wanted and typed:
            raise NotAcceptable(
                "This kind of rule has no such number. Leave it out.", field=name
            )
        if not wanted:
            return
        try:
            number = parse_decimal(typed)
        except MetrologyError as refusal:
            raise NotAcceptable(str(refusal), field=name) from None
        text = f"{number:f}"
        if len(text) > _LONGEST_NUMBER:
            raise NotAcceptable(f"{text} has too many digits.", field=name)
        object.__setattr__(self, name, text)


def risk_in_words(rule: Rule) -> str:
    """Say how likely a wrong statement is at worst, and for whom.

    The figures are conformance probabilities right on the limits of acceptance
    (JCGM 106:2012, 7 and 8), computed by the functional core.
    """
    at_limit = _wrong_pass_at_limit(rule)
    wrong, right = print_probability(at_limit), print_probability(1 - at_limit)
    if rule.kind is RuleKind.ISO_14253_1:
        return (
            f"“Conformity is proven” is wrong with at most {wrong}, and so is "
            "“nonconformity is proven”. Between them nothing is proven, and whoever "
            "had to prove something has not."
        )
    if rule.kind is RuleKind.GUARDED_CONDITIONAL:
        return (
            f"A pass is wrong with at most {wrong}, and so is a fail. Between them a "
            "conditional pass or fail is given, which may be wrong with up to 50.0 %."
        )
    if at_limit == 0.5:
        return (
            "The uncertainty is left aside. Right at the limit of tolerance an item "
            "is as likely outside as inside: a pass may be wrong with up to 50.0 %, "
            "and so may a fail. Both sides share the risk."
        )
    if at_limit < 0.5:
        return (
            f"A pass is wrong with at most {wrong}: the customer is protected. In turn "
            f"an item just short of passing is failed although it would conform with "
            f"{right}."
        )
    return (
        f"A fail is wrong with at most {right}: whoever made the item is protected. In "
        f"turn a pass may be wrong with up to {wrong}."
    )


def _wrong_pass_at_limit(rule: Rule) -> float:
    tolerance = Tolerance(lower=None, upper=Decimal(0))
    limits = acceptance_limits(Decimal(2), Decimal(2), tolerance, rule)
    return conformance(float(limits.upper or 0), 1.0, tolerance).outside
