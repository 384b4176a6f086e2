"""Forms for holds, and for whatever needs a reason only."""

from __future__ import annotations

from django import forms

from lab.common.forms import text_area


class ReasonForm(forms.Form):
    """A reason, in the person's own words."""

    reason = forms.CharField(widget=text_area(3))


class HoldForm(ReasonForm):
    """A hold that a person raises."""

    title = forms.CharField(max_length=80, label="What is the matter")
    field_order = ("title", "reason")


class ClearForm(ReasonForm):
    """Why a job may go on in spite of what held it."""
