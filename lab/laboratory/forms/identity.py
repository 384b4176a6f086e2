"""Forms of the laboratory's identity and numbers."""

from __future__ import annotations

from django import forms

from lab.common.forms import text_area
from lab.laboratory.forms.fields import ZoneField
from lab.laboratory.models import Laboratory
from lab.laboratory.services import Identity


class IdentityForm(forms.Form):
    """What stands at the head of every certificate."""

    name = forms.CharField(label="Name of the laboratory", max_length=120)
    address = forms.CharField(
        widget=text_area(), help_text="As it is printed, a line each, at most six."
    )
    country = forms.CharField(
        required=False,
        max_length=2,
        help_text="Two letters of ISO 3166-1. The machine-readable certificate needs "
        "it; without it documents have none.",
    )
    email = forms.CharField(label="E-mail", max_length=200)
    phone = forms.CharField(label="Telephone", max_length=40)
    time_zone = ZoneField(
        help_text="Days of validity begin and end at midnight in this zone."
    )
    accreditation = forms.CharField(
        required=False,
        widget=text_area(3),
        help_text="What your accreditation lets you print; empty if you have none.",
    )
    paper = forms.ChoiceField(choices=Laboratory.Paper.choices)
    document_title = forms.ChoiceField(
        label="Title of documents", choices=Laboratory.Title.choices
    )

    def identity(self) -> Identity:
        return Identity(**self.cleaned_data)


class NumberFormatForm(forms.Form):
    """How one series of numbers is written."""

    pattern = forms.CharField(
        max_length=60,
        help_text="Holds {year} and {number} once each, or {number:04d} for leading "
        "zeros: AB-{year}-{number:04d} gives AB-2031-0007.",
        widget=forms.TextInput(attrs={"spellcheck": "false", "autocapitalize": "off"}),
    )
