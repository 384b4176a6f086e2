"""The form with which an excursion is acknowledged."""

from __future__ import annotations

from django import forms

from lab.common.forms import text_area


class AcknowledgeForm(forms.Form):
    """What was seen, and what was done about it."""

    note = forms.CharField(
        widget=text_area(3),
        help_text="What caused it and what was done: a blind closed, a door mended.",
    )
