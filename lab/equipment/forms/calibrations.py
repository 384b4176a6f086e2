"""Forms for calibrations, typed by hand or read from a digital certificate."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from typing import Any

from django import forms

from lab.common.forms import DayField, text_area
from lab.common.quantities import QuantityFormField
from lab.equipment.entries import CalibratedEntry, CorrectionEntry
from lab.equipment.models import CalibratedValue, Moment
from lab.equipment.proposals import Proposal
from lab.metrology.units import (
    LENGTH,
    TEMPERATURE,
    TEMPERATURE_DIFFERENCE,
    Quantity,
)

ROWS = 3
MOST_ROWS = 200
NEEDED = "This is needed, and it is empty."
AT_20 = Quantity("20", "°C")


class Row(forms.Form):
    """One row of results; it counts when its first cell is filled."""

    usual: dict[str, Any] = {}
    leading = ""
    needed: tuple[str, ...] = ()

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        kwargs["initial"] = self.usual | (kwargs.get("initial") or {})
        super().__init__(*args, **kwargs)

    @property
    def is_filled(self) -> bool:
        return bool(self.cleaned_data.get(self.leading))

    def clean(self) -> dict[str, Any]:
        typed = self.cleaned_data
        if any(typed.get(name) for name in self.needed if name not in self.usual):
            for name in self.needed:
                if not typed.get(name) and name not in self.errors:
                    self.add_error(name, NEEDED)
        return typed


class ValueRow(Row):
    """A calibrated length, diameter or form."""

    usual = {
        "moment": Moment.AS_LEFT,
        "measurand": CalibratedValue.Measurand.LENGTH,
        "coverage_factor_text": "2",
        "temperature": AT_20,
    }
    leading = "label"
    needed: tuple[str, ...] = ("label", "value", "expanded_u", "temperature")

    label = forms.CharField(
        max_length=80,
        required=False,
        label="Value of",
        widget=forms.TextInput(attrs={"list": "known-labels"}),
    )
    measurand = forms.ChoiceField(
        choices=CalibratedValue.Measurand.choices, label="Which is a"
    )
    moment = forms.ChoiceField(choices=Moment.choices, label="When")
    value = QuantityFormField(LENGTH, required=False)
    expanded_u = QuantityFormField(
        LENGTH, required=False, default_unit="µm", label="Expanded uncertainty U"
    )
    coverage_factor_text = forms.CharField(max_length=10, label="k", required=False)
    temperature = QuantityFormField(TEMPERATURE, required=False, label="Holds at")

    def entry(self) -> CalibratedEntry:
        return CalibratedEntry(
            **(self.cleaned_data | {"temperature": self._temperature()})
        )

    def _temperature(self) -> Quantity:
        return self.cleaned_data.get("temperature") or AT_20


class ReadValueRow(ValueRow):
    """A value out of a digital certificate; its temperature is confirmed for all."""

    needed = ("label", "value", "expanded_u")
    temperature = None  # type: ignore[assignment]


class CorrectionRow(Row):
    """What is added to a sensor's reading at one calibrated point."""

    usual = {
        "moment": Moment.AS_LEFT,
        "coverage_factor_text": "2",
    }
    leading = "reading"
    needed = ("reading", "correction", "expanded_u")

    reading = QuantityFormField(TEMPERATURE, required=False, label="It read")
    correction = QuantityFormField(
        TEMPERATURE_DIFFERENCE, required=False, label="Correction (true less read)"
    )
    expanded_u = QuantityFormField(
        TEMPERATURE_DIFFERENCE, required=False, label="Expanded uncertainty U"
    )
    coverage_factor_text = forms.CharField(max_length=10, label="k", required=False)
    moment = forms.ChoiceField(choices=Moment.choices, label="When")

    def entry(self) -> CorrectionEntry:
        return CorrectionEntry(**self.cleaned_data)


def _rows(kind: type[Row], empty: int = ROWS) -> Any:
    return forms.formset_factory(
        kind, extra=empty, max_num=MOST_ROWS, absolute_max=MOST_ROWS
    )


class CalibrationForm(forms.Form):
    """A calibration as its certificate states it, with its results."""

    calibrated_on = DayField(label="Calibrated on")
    counts_from = DayField(
        label="Counts from", help_text="The first day on which its values are used."
    )
    due_on = DayField(label="Last day", required=False)
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
        label="No result is seen to fail what the lab requires of this device",
        help_text="Left open, the device is out of use at once.",
    )
    upload = forms.FileField(
        required=False, label="The certificate's file", help_text="A PDF, as a rule."
    )
    notes = forms.CharField(widget=text_area(2), required=False)

    value_row: type[Row] = ValueRow

    def __init__(
        self,
        data: Any,
        files: Any = None,
        *,
        proposal: Proposal,
        values: list[dict[str, Any]],
        corrections: list[dict[str, Any]] | None = None,
        **kwargs: Any,
    ) -> None:
        """Offer rows to fill in; ``corrections`` None means that it is no sensor."""
        super().__init__(data, files, **kwargs)
        self.proposal = proposal
        self.rows = _rows(self.value_row)(data, initial=values, prefix="values")
        self.corrections = None
        if corrections is not None:
            self.corrections = _rows(CorrectionRow)(
                data, initial=corrections, prefix="corrections"
            )
        self.fields["due_on"].help_text = self._due_words()
        self.fields["due_on"].required = proposal.months is None

    def _due_words(self) -> str:
        words = "It is current to the end of it."
        if self.proposal.months is None:
            return words
        return (
            f"{words} Left empty: {self.proposal.months} months after the calibration. "
            f"{self.proposal.reason}"
        )

    def is_valid(self) -> bool:
        sets = (
            [self.rows] if self.corrections is None else [self.rows, self.corrections]
        )
        return all(one.is_valid() for one in sets) and super().is_valid()

    def clean(self) -> dict[str, Any]:
        typed = self.cleaned_data
        if not typed.get("due_on") and isinstance(typed.get("calibrated_on"), date):
            typed["due_on"] = self.proposal.due_after(typed["calibrated_on"])
        return typed | {"values": self.values(), "corrections": self.sensor_rows()}

    def values(self) -> list[CalibratedEntry]:
        if not self.rows.is_valid():
            return []
        return [row.entry() for row in self.rows.forms if row.is_filled]

    def sensor_rows(self) -> list[CorrectionEntry]:
        if self.corrections is None or not self.corrections.is_valid():
            return []
        return [row.entry() for row in self.corrections.forms if row.is_filled]


class CorrectedCalibrationForm(CalibrationForm):
    """A recording made anew, with the reason for it."""

    reason = forms.CharField(widget=text_area(2), label="Why it is recorded anew")


class ReadCalibrationForm(CalibrationForm):
    """What a digital certificate states, looked through and confirmed by a person."""

    upload = None  # type: ignore[assignment]
    temperature = QuantityFormField(
        TEMPERATURE,
        required=False,
        label="The lengths hold at",
        help_text="As the certificate says, for all of them.",
    )
    temperature_seen = forms.BooleanField(
        required=False,
        label="I have looked this temperature up in the certificate",
        error_messages={"required": "Confirm it, or correct the temperature first."},
    )
    value_row = ReadValueRow

    def __init__(self, *args: Any, values: list[dict[str, Any]], **kwargs: Any) -> None:
        """Ask for the temperature where the file states a length."""
        super().__init__(*args, values=values, **kwargs)
        for name in ("temperature", "temperature_seen"):
            self.fields[name].required = bool(values)

    def clean(self) -> dict[str, Any]:
        typed = super().clean()
        temperature = typed.pop("temperature", None)
        seen = typed.pop("temperature_seen", False)
        if not typed["values"] or {"temperature", "temperature_seen"} & {*self.errors}:
            return typed
        if temperature is None or not seen:
            self.add_error(
                "temperature", "Type and confirm the temperature at which they hold."
            )
        else:
            typed["values"] = [
                replace(value, temperature=temperature) for value in typed["values"]
            ]
        return typed


class CertificateFileForm(forms.Form):
    """A digital calibration certificate to be read."""

    upload = forms.FileField(label="Digital calibration certificate (XML)")
