"""Forms for what stands around calibrations: decisions, requirements, dispatches."""

from __future__ import annotations

from typing import Any

from django import forms

from lab.common.forms import DayField, text_area
from lab.common.quantities import QuantityFormField
from lab.equipment.models import (
    CALIBRATED,
    Device,
    DeviceKind,
    IntervalRule,
    Provider,
)
from lab.metrology.units import LENGTH, TEMPERATURE_DIFFERENCE

ACCEPT, REJECT = "accept", "reject"


class DecisionForm(forms.Form):
    """A person's decision on a recorded calibration."""

    decision = forms.ChoiceField(
        choices=[
            (ACCEPT, "Accept: the device may be used by it"),
            (REJECT, "Reject: the device has no calibration from its first day on"),
        ],
        widget=forms.RadioSelect,
    )
    words = forms.CharField(
        widget=text_area(2),
        label="Why, in your words",
        help_text="The record keeps it.",
    )


class RequirementForm(forms.Form):
    """What the lab requires of a device's calibrations."""

    statement = forms.CharField(
        widget=text_area(2),
        label="The requirement in words",
        help_text="What it is for, and where it comes from.",
    )
    label = forms.CharField(
        max_length=80,
        required=False,
        label="Which value",
        help_text="Left empty, it is for every length of the certificate.",
    )
    reference = QuantityFormField(
        LENGTH,
        required=False,
        label="Length from which its movement counts",
        help_text="Left empty, the first calibrated value.",
    )
    limit = QuantityFormField(
        LENGTH, required=False, default_unit="µm", label="Largest movement, or form"
    )
    largest_u = QuantityFormField(
        LENGTH, required=False, default_unit="µm", label="Largest expanded uncertainty"
    )


class SensorRequirementForm(forms.Form):
    """What the lab requires of a sensor's calibrations."""

    statement = forms.CharField(widget=text_area(2), label="The requirement in words")
    largest_correction = QuantityFormField(TEMPERATURE_DIFFERENCE, required=False)
    largest_correction_u = QuantityFormField(
        TEMPERATURE_DIFFERENCE, required=False, label="Largest expanded uncertainty"
    )


class DispatchForm(forms.Form):
    """A device on its way out."""

    provider = forms.ModelChoiceField(Provider.objects.all())
    sent_on = DayField(label="Sent on")
    expected_back = DayField(label="Expected back")
    carrier = forms.CharField(max_length=120, label="Who carries it")
    purpose = forms.CharField(widget=text_area(2), label="What for")


class ReturnForm(forms.Form):
    """A device that came back."""

    returned_on = DayField(label="Back on")
    condition = forms.CharField(
        widget=text_area(2),
        help_text="As it was unpacked: undamaged, or what is wrong.",
    )


class StandInForm(forms.Form):
    """A device that can take another's place."""

    stand_in = forms.ModelChoiceField(Device.objects.none(), label="Stand-in")
    difference = forms.CharField(
        max_length=200,
        required=False,
        label="What is different then",
        help_text="A shorter length, a larger uncertainty.",
    )

    def __init__(self, data: Any, *, device: Device) -> None:
        super().__init__(data)
        others = Device.objects.filter(kind=device.kind).exclude(pk=device.pk)
        self.fields["stand_in"].queryset = others  # type: ignore[attr-defined]


class ProviderForm(forms.Form):
    """A calibration laboratory."""

    name = forms.CharField(max_length=120)
    accreditation = forms.CharField(max_length=120, required=False)
    lead_days = forms.IntegerField(
        min_value=0,
        max_value=365,
        label="Lead time in days",
        help_text="From sending a device until it is back, as a rule.",
    )
    notes = forms.CharField(widget=text_area(2), required=False)


class IntervalRuleForm(forms.Form):
    """How the interval of a family of devices is found."""

    family = forms.ChoiceField(
        choices=[one for one in DeviceKind.choices if one[0] in CALIBRATED],
        label="Kind of device",
    )
    method = forms.ChoiceField(choices=IntervalRule.Method.choices)
    months = forms.IntegerField(
        min_value=1, max_value=120, initial=12, label="Interval in months"
    )
    shortest_months = forms.IntegerField(min_value=1, max_value=120, initial=3)
    longest_months = forms.IntegerField(min_value=1, max_value=120, initial=36)
    extend_up_to_percent = forms.IntegerField(
        min_value=1,
        max_value=100,
        initial=50,
        label="Extend if moved by no more than (% of the limit)",
        help_text="Of the staircase.",
    )
    reduce_above_percent = forms.IntegerField(
        min_value=1,
        max_value=100,
        initial=100,
        label="Reduce if moved by more than (% of the limit)",
        help_text="Of the staircase.",
    )
    in_a_row = forms.IntegerField(
        min_value=1,
        max_value=10,
        initial=2,
        label="Good results in a row before extending",
    )
    reason = forms.CharField(widget=text_area(2))
