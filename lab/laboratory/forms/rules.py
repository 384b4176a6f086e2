"""The form of a decision rule."""

from __future__ import annotations

from typing import Any

from django import forms

from lab.common.errors import NotAcceptable
from lab.common.forms import add_refusal, text_area
from lab.laboratory.models import DecisionRule, DecisionRuleKind, DecisionRuleRevision
from lab.laboratory.ruling import Ruling


class RuleForm(forms.Form):
    """A new rule, or what an old one says from now on."""

    name = forms.CharField(max_length=80)
    kind = forms.ChoiceField(choices=DecisionRuleKind.choices)
    guard_factor = forms.CharField(
        required=False,
        max_length=10,
        label="Guard factor r",
        help_text="Guarded acceptance: the guard band is w = r·U, such as 1 or 0.83.",
    )
    probability_percent = forms.CharField(
        required=False,
        max_length=10,
        label="Probability of conformity, in %",
        help_text="For a stated probability and for ISO 14253-1, such as 95.",
    )
    risk = forms.CharField(
        label="The risk in plain words",
        widget=text_area(),
        help_text="What the customer agrees to, as it is printed.",
    )
    reason = forms.CharField(label="Reason for the change", widget=text_area(2))

    ruling: Ruling

    def __init__(
        self,
        *args: Any,
        rule: DecisionRule | None = None,
        last: DecisionRuleRevision | None = None,
        **kwargs: Any,
    ) -> None:
        super().__init__(*args, **kwargs)
        del self.fields["reason" if rule is None else "name"]
        if last is not None:
            self.initial = {
                "kind": last.kind,
                "guard_factor": last.guard_factor_text,
                "probability_percent": last.probability_percent_text,
                "risk": last.risk,
            }

    def clean(self) -> dict[str, Any]:
        """Make the ruling; a number that the kind has no use for is refused."""
        cleaned = super().clean() or {}
        if "kind" not in cleaned:
            return cleaned
        numbers = (
            cleaned.pop("guard_factor", ""),
            cleaned.pop("probability_percent", ""),
        )
        try:
            self.ruling = Ruling(cleaned.pop("kind"), *numbers)
        except NotAcceptable as refusal:
            add_refusal(self, refusal)
        return cleaned
