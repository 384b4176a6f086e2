"""Forms: common fields, and how a service's refusal gets beside its field."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django import forms

from lab.common.errors import DomainError, NotAllowed


class DayField(forms.DateField):
    """A calendar day, in ISO 8601 where it is typed."""

    def __init__(self, **kwargs: Any) -> None:
        widget = forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")
        super().__init__(widget=widget, input_formats=["%Y-%m-%d"], **kwargs)


class MomentField(forms.DateTimeField):
    """When something happened, by the clock on the laboratory's wall.

    An hour that a clock change repeats or leaves out is refused, not guessed.
    """

    FORMAT = "%Y-%m-%dT%H:%M"

    def __init__(self, **kwargs: Any) -> None:
        widget = forms.DateTimeInput(
            attrs={"type": "datetime-local"}, format=self.FORMAT
        )
        formats = [self.FORMAT, "%Y-%m-%dT%H:%M:%S", "%Y-%m-%d %H:%M"]
        super().__init__(widget=widget, input_formats=formats, **kwargs)


def text_area(rows: int = 4) -> forms.Textarea:
    return forms.Textarea(attrs={"rows": rows})


def accepted(form: forms.BaseForm, act: Callable[[], object]) -> bool:
    """Run a service if the form is valid; a refusal becomes an error of the form.

    A refusal of the person, not of what was typed, stays one and becomes a page.
    """
    if not form.is_valid():
        return False
    try:
        act()
    except NotAllowed:
        raise
    except DomainError as refusal:
        add_refusal(form, refusal)
        return False
    return True


def add_refusal(form: forms.BaseForm, refusal: DomainError) -> None:
    """Put a refusal beside the field that it names, or above the form."""
    field = refusal.field if refusal.field in form.fields else None
    form.add_error(field, refusal.sentence)
