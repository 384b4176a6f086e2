"""Forms for measuring sessions; used at the machine, so they are short."""

from __future__ import annotations

from typing import Any

from django import forms

from lab.checks.models import MeasuringSystem
from lab.common.forms import MomentField, text_area
from lab.jobs.models import Job, JobItem
from lab.jobs.selectors import items_here


class MomentForm(forms.Form):
    """When it happened: now, unless it was forgotten."""

    at = MomentField(label="When")


class StartForm(MomentForm):
    """What is measured, with which system."""

    system = forms.ModelChoiceField(MeasuringSystem.objects.filter(in_use=True))
    items = forms.ModelMultipleChoiceField(
        JobItem.objects.none(), widget=forms.CheckboxSelectMultiple
    )
    field_order = ("system", "items", "at")

    def __init__(self, data: Any, *, job: Job, initial: dict[str, Any]) -> None:
        super().__init__(data, initial=initial)
        self.fields["items"].queryset = items_here(job)  # type: ignore[attr-defined]


class PauseForm(MomentForm):
    """Why measuring stops for a while."""

    reason = forms.CharField(
        max_length=200, help_text="Too few targets in view, the room, a break …"
    )
    field_order = ("reason", "at")


class CorrectionForm(MomentForm):
    """When it happened really, and why the first time was wrong."""

    reason = forms.CharField(widget=text_area(2))
