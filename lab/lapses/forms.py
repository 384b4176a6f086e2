"""Forms about lapses: something found out later, and many holds cleared at once."""

from __future__ import annotations

from typing import Any

from django import forms

from lab.common.forms import MomentField, text_area
from lab.jobs.models import Hold
from lab.lapses.models import ConditionsAssessment, LaterFinding

Kind = LaterFinding.Kind
#: What a person may choose; a window is moved back in its case.
KINDS = [
    (kind.value, kind.label)
    for kind in (Kind.OUT_OF_TOLERANCE, Kind.MOVED, Kind.DAMAGED, Kind.OTHER)
]


class LaterFindingForm(forms.Form):
    """That a device did not measure right over a period."""

    kind = forms.ChoiceField(choices=KINDS, label="What was found")
    since = MomentField(label="From", help_text="When it was last known to be right.")
    until = MomentField(label="Until", help_text="When it was found out, or mended.")
    reason = forms.CharField(
        widget=text_area(3), help_text="What shows it: values, limits, who saw it."
    )


class _HoldsField(forms.ModelMultipleChoiceField):  # type: ignore[type-arg]
    def label_from_instance(self, obj: Hold) -> str:
        return f"{obj.job.number}: {obj.title}"


class ClearCauseForm(forms.Form):
    """Which holds of one cause are cleared, and why the jobs may go on."""

    holds = _HoldsField(
        Hold.objects.none(),
        widget=forms.CheckboxSelectMultiple,
        label="Holds to clear",
    )
    reason = forms.CharField(
        widget=text_area(3), help_text="It is written beside each of them."
    )

    def __init__(self, data: Any, *, holds: Any) -> None:
        super().__init__(data, initial={"holds": holds})
        self.fields["holds"].queryset = holds  # type: ignore[attr-defined]


class AssessmentForm(forms.Form):
    """Whether the results stand, and why."""

    outcome = forms.ChoiceField(
        choices=ConditionsAssessment.Outcome.choices, widget=forms.RadioSelect
    )
    reason = forms.CharField(
        widget=text_area(3),
        help_text="What the bound means for these results and their uncertainty.",
    )
