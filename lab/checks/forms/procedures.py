"""Forms of check procedures, their revisions, and measuring systems."""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal
from typing import Any

from django import forms

from lab.checks.models import CheckProcedure, MeasuringSystem, ProcedureRevision
from lab.common.forms import text_area
from lab.common.quantities import QuantityFormField
from lab.equipment.models import ARTEFACTS, CalibratedValue, Device, DeviceKind
from lab.laboratory.models import CheckKind
from lab.metrology.units import LENGTH, TEMPERATURE_DIFFERENCE

SECONDS_PER_HOUR = 3600


class HoursField(forms.DecimalField):
    """A duration, typed in hours."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(max_digits=6, decimal_places=2, min_value=0, **kwargs)

    def prepare_value(self, value: Any) -> Any:
        if isinstance(value, timedelta):
            hours = Decimal(int(value.total_seconds())) / SECONDS_PER_HOUR
            return f"{hours.normalize():f}"
        return value

    def clean(self, value: Any) -> timedelta | None:
        hours = super().clean(value)
        if hours is None:
            return None
        return timedelta(seconds=round(float(hours) * SECONDS_PER_HOUR))


class SystemForm(forms.Form):
    """A tracker and a scanner that measure together."""

    name = forms.CharField(max_length=80)
    tracker = forms.ModelChoiceField(Device.objects.filter(kind=DeviceKind.TRACKER))
    scanner = forms.ModelChoiceField(Device.objects.filter(kind=DeviceKind.SCANNER))


class SystemChangeForm(forms.Form):
    """What a system is called, and whether it measures any more."""

    name = forms.CharField(max_length=80)
    in_use = forms.BooleanField(required=False, label="In use")


class ProcedureChangeForm(forms.Form):
    """What a procedure is called and which systems need it."""

    title = forms.CharField(max_length=120)
    systems = forms.ModelMultipleChoiceField(
        MeasuringSystem.objects.filter(in_use=True),
        widget=forms.CheckboxSelectMultiple,
        label="Systems that need it",
        help_text="Without a valid pass of it they do not measure.",
    )


class ProcedureForm(ProcedureChangeForm):
    """A new check procedure; what it says comes with its first revision."""

    code = forms.SlugField(max_length=40, help_text="The lab's own, such as CP-01.")
    kind = forms.ChoiceField(choices=CheckKind.choices, label="What is measured")
    field_order = ("code", "title", "kind", "systems")


class RevisionForm(forms.Form):
    """What a procedure says: artefact, positions, limit, and how long a pass holds."""

    artefact = forms.ModelChoiceField(Device.objects.filter(kind__in=ARTEFACTS))
    calibrated_label = forms.CharField(
        max_length=80,
        label="Its calibrated value",
        help_text="As its certificate names it.",
        widget=forms.TextInput(attrs={"list": "labels"}),
    )
    positions = forms.CharField(
        widget=text_area(4), label="Positions", help_text="One a line, as prescribed."
    )
    limit_constant = QuantityFormField(
        LENGTH, default_unit="µm", sign="non-negative", label="Limit: constant part"
    )
    limit_per_metre = QuantityFormField(
        LENGTH,
        default_unit="µm",
        required=False,
        sign="non-negative",
        label="And for each metre of length",
    )
    limit_cap = QuantityFormField(
        LENGTH, default_unit="µm", required=False, sign="positive", label="At most"
    )
    acceptance = forms.ChoiceField(
        choices=ProcedureRevision.Acceptance.choices,
        help_text="Guarded: the test uncertainty narrows the limit, at 95 %.",
    )
    temperature_u = QuantityFormField(
        TEMPERATURE_DIFFERENCE,
        sign="non-negative",
        label="Standard uncertainty of the artefact's temperature",
    )
    valid_for = HoursField(label="A pass is valid for, in hours")
    closing_wanted = forms.BooleanField(
        required=False, label="A check after measuring is wanted as well"
    )
    closing_within = HoursField(label="Within, in hours, of the end of measuring")

    def __init__(self, data: Any, *, before: ProcedureRevision | None) -> None:
        super().__init__(data, initial=_begun_with(before))

    @property
    def known_labels(self) -> list[str]:
        values = CalibratedValue.objects.filter(calibration__superseded_by=None)
        return sorted(set(values.values_list("label", flat=True)))

    def clean(self) -> dict[str, Any]:
        typed = super().clean() or {}
        if "positions" in typed:
            typed["positions"] = typed["positions"].splitlines()
        return typed


def _begun_with(before: ProcedureRevision | None) -> dict[str, Any]:
    if before is None:
        usual = ProcedureRevision()
        names = ("acceptance", "valid_for", "closing_wanted", "closing_within")
        return {name: getattr(usual, name) for name in names}
    return {name: getattr(before, name) for name in RevisionForm.base_fields}


def revision_title(procedure: CheckProcedure, before: ProcedureRevision | None) -> str:
    return f"Revise {procedure.code}" if before else f"First revision: {procedure.code}"
