"""Forms that authorise people, take it back, and name deputies."""

from __future__ import annotations

from typing import Any

from django import forms
from django.db.models import QuerySet

from lab.accounts.models import User
from lab.accounts.permissions import STAFF
from lab.common.files.store import store_file
from lab.common.forms import DayField, text_area
from lab.laboratory.models import Activity, Method


class AuthorisationForm(forms.Form):
    """One person, one method, one activity, for a time."""

    person = forms.ModelChoiceField(User.objects.none(), empty_label="Choose…")
    method = forms.ModelChoiceField(Method.objects.none(), empty_label="Choose…")
    activity = forms.ChoiceField(choices=Activity.choices)
    valid_from = DayField(label="First day")
    valid_until = DayField(required=False, label="Last day")
    evidence = forms.CharField(
        widget=text_area(),
        help_text="What shows the competence: training, a witnessed job, a comparison.",
    )
    # Named as the file store names it, so that its refusals stand beside it.
    file = forms.FileField(required=False, label="Document that shows it")

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        _choice(self, "person").queryset = active_staff()
        _choice(self, "method").queryset = Method.objects.all()

    def content(self) -> dict[str, Any]:
        """Return what was typed by the names of the service; keep the document."""
        content = dict(self.cleaned_data)
        upload = content.pop("file")
        if upload is not None:
            stored = store_file(upload, name=upload.name, kind="other")
            content["evidence_file"] = stored
        return content


class ReasonForm(forms.Form):
    """A reason, where that is all that is asked."""

    reason = forms.CharField(widget=text_area(3))


class DeputyForm(forms.Form):
    """Who stands in for whom, from one day to another."""

    person = forms.ModelChoiceField(
        User.objects.none(), empty_label="Choose…", label="Who is away"
    )
    deputy = forms.ModelChoiceField(
        User.objects.none(), empty_label="Choose…", label="Who stands in"
    )
    valid_from = DayField(label="First day")
    valid_until = DayField(label="Last day")
    reason = forms.CharField(widget=text_area(3))

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for name in ("person", "deputy"):
            _choice(self, name).queryset = active_staff()


def active_staff() -> QuerySet[User]:
    """Return who may be authorised: the laboratory's people who are still there."""
    return User.objects.filter(is_active=True, role__in=STAFF).order_by("name")


def _choice(form: forms.Form, name: str) -> forms.ModelChoiceField[Any]:
    field = form.fields[name]
    assert isinstance(field, forms.ModelChoiceField)  # noqa: S101 - for the type only
    return field
