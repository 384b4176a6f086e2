"""Forms for items: received, measured with a thermometer, returned."""

from __future__ import annotations

from typing import Any

from django import forms

from lab.common.forms import MomentField, text_area
from lab.common.quantities import QuantityFormField
from lab.equipment.models import Device, DeviceKind
from lab.jobs.models import Job, JobItem
from lab.jobs.selectors import items_here
from lab.metrology.units import TEMPERATURE


class ReceiptForm(forms.Form):
    """How an item came in."""

    at = MomentField(label="Received at")
    condition = forms.CharField(
        max_length=200, help_text="As a certificate will state it."
    )
    damaged = forms.BooleanField(
        required=False, label="Damaged: hold the job until the customer has answered"
    )
    temperature = QuantityFormField(
        TEMPERATURE, required=False, label="Temperature by contact"
    )
    place = forms.CharField(max_length=80, label="Where it is put")


class PartTemperatureForm(forms.Form):
    """How warm an item is, by contact."""

    item = forms.ModelChoiceField(JobItem.objects.none())
    at = MomentField(label="Read at")
    temperature = QuantityFormField(TEMPERATURE)
    thermometer = forms.ModelChoiceField(
        Device.objects.filter(kind=DeviceKind.CONTACT_THERMOMETER)
    )

    def __init__(self, data: Any, *, job: Job, initial: dict[str, Any]) -> None:
        super().__init__(data, initial=initial)
        self.fields["item"].queryset = items_here(job)  # type: ignore[attr-defined]


class ReturnForm(forms.Form):
    """How an item left."""

    at = MomentField(label="Handed over at")
    condition = forms.CharField(max_length=200)
    handed_to = forms.CharField(max_length=120)
    reason = forms.CharField(
        widget=text_area(2),
        required=False,
        help_text="Needed while the job is on hold: why it leaves all the same.",
    )
