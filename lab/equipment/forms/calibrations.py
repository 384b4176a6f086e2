"""Forms for calibrations."""

from __future__ import annotations

from typing import Any

from django import forms

from lab.common.forms import DayField, text_area
from lab.common.quantities import QuantityFormField
from lab.equipment.entries import CalibratedEntry
from lab.equipment.models import CalibratedValue, Device
from lab.metrology.units import LENGTH, TEMPERATURE, Quantity

ROWS = 4
MOST_ROWS = 60


class ValueForm(forms.Form):
    """One row of calibrated values."""

    label = forms.CharField(max_length=80, required=False, label="Value of")
    moment = forms.ChoiceField(choices=CalibratedValue.Moment.choices)
    value = QuantityFormField(LENGTH, required=False)
    expanded_u = QuantityFormField(
        LENGTH, required=False, default_unit="µm", label="Expanded uncertainty U"
    )
    coverage_factor_text = forms.CharField(max_length=10, label="k", required=False)
    temperature = QuantityFormField(TEMPERATURE, required=False, label="Holds at")

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        usual = {
            "moment": CalibratedValue.Moment.AS_LEFT,
            "coverage_factor_text": "2",
            "temperature": Quantity("20", "°C"),
        }
        kwargs["initial"] = usual | (kwargs.get("initial") or {})
        super().__init__(*args, **kwargs)

    @property
    def is_filled(self) -> bool:
        typed = self.cleaned_data
        return bool(typed.get("label") or typed.get("value"))

    def clean(self) -> dict[str, Any]:
        if self.is_filled:
            for name in ("label", "value", "expanded_u", "temperature"):
                if not self.cleaned_data.get(name) and name not in self.errors:
                    self.add_error(name, "This is needed, and it is empty.")
        return self.cleaned_data


Values = forms.formset_factory(
    ValueForm, extra=ROWS, max_num=MOST_ROWS, absolute_max=MOST_ROWS
)


class CalibrationForm(forms.Form):
    """A calibration as its certificate states it, with its values."""

    calibrated_on = DayField(label="Calibrated on")
    counts_from = DayField(
        label="Counts from", help_text="The first day on which its values are used."
    )
    due_on = DayField(label="Last day", help_text="It is current to the end of it.")
    certificate_number = forms.CharField(max_length=80)
    provider = forms.CharField(max_length=120, label="Calibrated by")
    accreditation = forms.CharField(
        max_length=120,
        required=False,
        help_text="The provider's accreditation for this quantity.",
    )
    adjusted = forms.BooleanField(
        required=False, label="It was adjusted or repaired at this calibration"
    )
    requirement_met = forms.BooleanField(
        required=False,
        label="The results meet what the lab requires of this device",
    )
    notes = forms.CharField(widget=text_area(2), required=False)

    def __init__(self, data: Any, *, before: list[dict[str, Any]]) -> None:
        """Offer the labels of the calibration before, to be filled in anew."""
        super().__init__(data)
        self.rows = Values(data, initial=before, prefix="values")

    def is_valid(self) -> bool:
        return self.rows.is_valid() and super().is_valid()

    def clean(self) -> dict[str, Any]:
        if not self.rows.is_valid():
            return self.cleaned_data
        entries = [
            CalibratedEntry(**row.cleaned_data)
            for row in self.rows.forms
            if row.is_filled
        ]
        return self.cleaned_data | {"values": entries}


def labels_before(device: Device) -> list[dict[str, Any]]:
    """Return the rows that the newest calibration had, without their numbers."""
    newest = device.calibrations.filter(superseded_by=None).first()
    if newest is None:
        return []
    return [{"label": value.label} for value in newest.values.all()]
