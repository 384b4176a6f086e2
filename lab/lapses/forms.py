"""The decision on a session's conditions."""

from __future__ import annotations

from django import forms

from lab.common.forms import text_area
from lab.lapses.models import ConditionsAssessment


class AssessmentForm(forms.Form):
    """Whether the results stand, and why."""

    outcome = forms.ChoiceField(
        choices=ConditionsAssessment.Outcome.choices, widget=forms.RadioSelect
    )
    reason = forms.CharField(
        widget=text_area(3),
        help_text="What the bound means for these results and their uncertainty.",
    )
