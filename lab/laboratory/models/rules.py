"""Decision rules that the laboratory offers at contract review."""

from __future__ import annotations

from decimal import Decimal

from django.conf import settings
from django.db import models
from django.db.models import Q

from lab.common import clock
from lab.common.frozen import FrozenModel
from lab.metrology.conformity import Burden, Rule, RuleKind, rule_text


class DecisionRuleKind(models.TextChoices):
    """The kinds of the functional core, in the words of contract review."""

    SIMPLE = RuleKind.SIMPLE.value, "Simple acceptance"
    GUARDED = RuleKind.GUARDED.value, "Guarded acceptance, pass or fail"
    GUARDED_CONDITIONAL = (
        RuleKind.GUARDED_CONDITIONAL.value,
        "Guarded acceptance with conditional verdicts",
    )
    PROBABILITY = RuleKind.PROBABILITY.value, "Stated probability of conformity"
    ISO_14253_1 = (
        RuleKind.ISO_14253_1.value,
        "ISO 14253-1: conformity proven, nonconformity proven, or neither",
    )


class DecisionRule(models.Model):
    """A rule by its name; what it says is in its revisions."""

    name = models.CharField(max_length=80, unique=True)

    class Meta:
        ordering = ["name"]

    def __str__(self) -> str:
        return self.name


class DecisionRuleRevision(FrozenModel):
    """What a rule says, frozen; a job that agreed to it keeps pointing here."""

    rule = models.ForeignKey(
        DecisionRule, on_delete=models.PROTECT, related_name="revisions"
    )
    number = models.PositiveSmallIntegerField()
    kind = models.CharField(max_length=30, choices=DecisionRuleKind.choices)
    # The texts as typed: a decimal column would print 0.83 as 0.8300.
    guard_factor_text = models.CharField(max_length=10, blank=True)
    probability_percent_text = models.CharField(max_length=10, blank=True)
    risk = models.TextField(help_text="The risk in plain words, as agreed and printed.")
    recorded_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
    )
    recorded_at = models.DateTimeField(default=clock.now, editable=False)

    class Meta(FrozenModel.Meta):
        ordering = ["rule", "-number"]
        constraints = [
            models.UniqueConstraint(
                fields=["rule", "number"], name="decision_rule_revision_once"
            ),
            models.CheckConstraint(
                condition=Q(guard_factor_text="") | Q(probability_percent_text=""),
                name="decision_rule_has_one_number",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.rule}, revision {self.number}"

    @property
    def guard_factor(self) -> Decimal | None:
        """Return r of w = r·U."""
        return Decimal(self.guard_factor_text) if self.guard_factor_text else None

    @property
    def probability(self) -> Decimal | None:
        """Return the probability of conformity asked for, as a fraction of one."""
        typed = self.probability_percent_text
        return Decimal(typed) / 100 if typed else None

    @property
    def needs_burden(self) -> bool:
        """Tell whether the booking must say who has to prove what."""
        return self.kind == RuleKind.ISO_14253_1

    def as_rule(self, burden: Burden | str | None = None) -> Rule:
        """Return the rule that the functional core decides by.

        Raises
        ------
        OutOfDomain
            If the burden is missing where it is needed, or given where it isn't.
        """
        return Rule(
            RuleKind(self.kind),
            guard_factor=self.guard_factor,
            probability=self.probability,
            burden=Burden(burden) if burden is not None else None,
        )

    @property
    def text(self) -> str:
        """Return the rule in the words that are printed; the burden is the job's."""
        if self.needs_burden:
            stated = rule_text(self.as_rule(Burden.CONFORMITY))
            return stated.rpartition(", ")[0]
        return rule_text(self.as_rule())


class DecisionRuleWithdrawal(FrozenModel):
    """A revision that is offered no longer; jobs that agreed to it keep it."""

    revision = models.OneToOneField(
        DecisionRuleRevision, on_delete=models.PROTECT, related_name="withdrawal"
    )
    reason = models.TextField()
    withdrawn_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
    )
    recorded_at = models.DateTimeField(default=clock.now, editable=False)

    class Meta(FrozenModel.Meta):
        pass

    def __str__(self) -> str:
        return f"{self.revision}, withdrawn"
