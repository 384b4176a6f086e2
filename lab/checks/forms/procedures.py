"""Forms of check procedures, their revisions, and measuring systems."""

from __future__ import annotations

from datetime import date, datetime, time, timedelta
from decimal import Decimal
from typing import Any

from django import forms

from lab.checks.models import (
    CheckProcedure,
    MeasuringSystem,
    ProcedureRevision,
    WatchedRule,
)
from lab.checks.models.procedures import MOST_REPEATS
from lab.common import clock
from lab.common.forms import DayField, text_area
from lab.common.quantities import QuantityFormField
from lab.equipment.models import ARTEFACTS, CalibratedValue, Device, DeviceKind
from lab.laboratory.models import CheckKind
from lab.laboratory.selectors import home_zone
from lab.metrology.units import LENGTH, TEMPERATURE_DIFFERENCE

SECONDS_PER_HOUR = 3600
#: What a new procedure's form has ticked: the outlier, the shift, the slow drift
#: (common practice, no source).
USUALLY_WATCHED = [
    WatchedRule.WESTERN_ELECTRIC_1.value,
    WatchedRule.WESTERN_ELECTRIC_4.value,
    WatchedRule.EWMA.value,
]


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
    """What a procedure is called, which systems need it, and from when on."""

    title = forms.CharField(max_length=120)
    systems = forms.ModelMultipleChoiceField(
        MeasuringSystem.objects.filter(in_use=True),
        widget=forms.CheckboxSelectMultiple,
        label="Systems that need it",
        help_text="Without a valid pass of it they do not measure.",
    )
    since = DayField(
        required=False,
        label="A system that is new to it needs it from",
        help_text="Left out or today: from now on. What was measured before that is "
        "not judged by it.",
    )

    def clean_since(self) -> datetime | None:
        """Return the start of a later day; none for today, which is from now on."""
        day: date | None = self.cleaned_data.get("since")
        zone = home_zone()
        if day is None or day == clock.today(zone):
            return None
        return datetime.combine(day, time.min, tzinfo=zone)


class ProcedureForm(ProcedureChangeForm):
    """A new check procedure; what it says comes with its first revision."""

    code = forms.SlugField(max_length=40, help_text="The lab's own, such as CP-01.")
    kind = forms.ChoiceField(choices=CheckKind.choices, label="What is measured")
    field_order = ("code", "title", "kind", "systems", "since")


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
    repeats = forms.IntegerField(
        min_value=1,
        max_value=MOST_REPEATS,
        initial=1,
        label="Each position is measured so many times",
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
    claimed_u = QuantityFormField(
        LENGTH,
        default_unit="µm",
        required=False,
        sign="positive",
        label="Standard uncertainty that the budgets claim for the system",
        help_text="The limit has to defend it: limit/√3 must not exceed it "
        "(JCGM 100, 4.3.7). Leave it out only if no budget leans on this check.",
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
    watched = forms.MultipleChoiceField(
        choices=WatchedRule.choices,
        required=False,
        widget=forms.CheckboxSelectMultiple,
        label="Rules of the control chart that give a warning",
        help_text="Of Western Electric or of Nelson, not of both. Every rule added "
        "finds a change sooner and warns more often without cause.",
    )

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
        begun = {name: getattr(usual, name) for name in names}
        return begun | {"repeats": 1, "watched": USUALLY_WATCHED}
    begun = {name: getattr(before, name) for name in RevisionForm.base_fields}
    return begun | {"watched": [rule.value for rule in before.watched_rules]}


def revision_title(procedure: CheckProcedure, before: ProcedureRevision | None) -> str:
    return f"Revise {procedure.code}" if before else f"First revision: {procedure.code}"
