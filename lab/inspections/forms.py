"""Forms for results: a grid for many at once, and one for a correction."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cached_property
from typing import Any, Final

from django import forms

from lab.accounts.models import User
from lab.common.errors import NotAcceptable
from lab.common.forms import text_area
from lab.inspections.deciding import Decided
from lab.inspections.entries import ResultEntry
from lab.inspections.models import Result
from lab.inspections.selectors import evaluators
from lab.inspections.trying import Judge
from lab.inspections.words import deviations_text, nominal_text
from lab.jobs.models import Job, JobItem, MeasuringSession
from lab.parts.models import Characteristic

#: What is typed of each value; the rest is said once for the whole form.
TYPED: Final = ("value_text", "expanded_u_text", "coverage_factor_text")
OF_FORM: Final = ("number_of_points", "filter_text", "association")
NUMBER: Final = {"inputmode": "decimal", "autocomplete": "off", "class": "quantity"}


def number_box() -> forms.TextInput:
    return forms.TextInput(attrs=NUMBER)


class HowForm(forms.Form):
    """How values came about: the same for all that are typed together."""

    session = forms.ModelChoiceField(
        MeasuringSession.objects.none(),
        required=False,
        empty_label="None: an outside provider measured",
        label="Measured in session",
    )
    provider = forms.CharField(
        max_length=120,
        required=False,
        label="Outside provider",
        help_text="Only where the laboratory did not measure; it is marked on the "
        "certificate.",
    )
    temperature_state = forms.ChoiceField(
        choices=[("", "Choose"), *Result.TemperatureState.choices],
        label="Temperature",
        help_text="Corrected twice or not at all, a metre of steel is wrong by 11 µm "
        "for each kelvin.",
    )
    part_temperature_text = forms.CharField(
        max_length=40,
        required=False,
        label="Part temperature in °C",
        widget=number_box(),
        help_text="Needed unless the software brought the values to 20 °C.",
    )
    uncertainty_basis = forms.CharField(
        max_length=300, label="What the uncertainties rest on"
    )
    software = forms.CharField(
        max_length=120, label="Evaluated with", help_text="Name and version."
    )


class ValueForm(forms.Form):
    """One value; of a form-like kind, with how it was evaluated."""

    value_text = forms.CharField(max_length=40, label="Value", widget=number_box())
    expanded_u_text = forms.CharField(max_length=40, label="U", widget=number_box())
    coverage_factor_text = forms.CharField(
        max_length=10, label="k", initial="2", widget=number_box()
    )
    number_of_points = forms.IntegerField(
        min_value=1, required=False, label="Number of points"
    )
    filter_text = forms.CharField(
        max_length=120, required=False, label="Filter", help_text="Or “none”."
    )
    association = forms.CharField(max_length=120, required=False, label="Association")

    def ask_for_points_of(self, characteristic: Characteristic) -> None:
        """Ask for points, filter and association of what is compared by them only."""
        for name in OF_FORM:
            if characteristic.non_negative:
                self.fields[name].required = True
            else:
                del self.fields[name]


class RowForm(ValueForm):
    """One row of the grid: a characteristic of an item; empty rows are passed over."""

    use_required_attribute = False

    def __init__(
        self, data: Any, *, item: JobItem, characteristic: Characteristic, unit: str
    ) -> None:
        prefix = f"r{item.pk}-{characteristic.pk}"
        super().__init__(data, prefix=prefix)
        self.item, self.characteristic = item, characteristic
        self.unit = "°" if characteristic.is_angle else unit
        self.empty_permitted = True
        self.ask_for_points_of(characteristic)

    def has_changed(self) -> bool:
        """Count a row as filled in if a value or an uncertainty was typed."""
        typed = ("value_text", "expanded_u_text")
        return any((self[name].value() or "").strip() for name in typed)

    @property
    def asked(self) -> str:
        """Return what the drawing asks, to be read beside the boxes."""
        one = self.characteristic
        return ", ".join(filter(None, [nominal_text(one), deviations_text(one)]))

    @property
    def further_fields(self) -> list[forms.BoundField]:
        return [self[name] for name in OF_FORM if name in self.fields]

    def entry(self, how: dict[str, Any]) -> ResultEntry:
        typed = {
            name: value
            for name, value in self.cleaned_data.items()
            if value is not None
        }
        return ResultEntry(
            item=self.item,
            characteristic=self.characteristic,
            unit=self.unit,
            **typed,
            **{name: how.get(name, "") for name in OF_ALL},
        )


OF_ALL: Final = (
    "provider",
    "temperature_state",
    "part_temperature_text",
    "uncertainty_basis",
    "software",
)


class ResultsForm(HowForm):
    """The grid: what is said once, and a row for each result that is missing."""

    evaluated_by = forms.ModelChoiceField(User.objects.none(), label="Evaluated by")
    field_order = ["session", "provider", "evaluated_by"]

    def __init__(
        self,
        data: Any,
        *,
        job: Job,
        wanted: Sequence[tuple[JobItem, Characteristic]],
        initial: dict[str, Any] | None = None,
    ) -> None:
        super().__init__(data, initial=initial)
        self.judge = Judge(job)
        sessions = job.sessions.select_related("system").order_by("first_at", "pk")
        self.fields["session"].queryset = sessions  # type: ignore[attr-defined]
        self.fields["evaluated_by"].queryset = evaluators(job)  # type: ignore[attr-defined]
        self.rows = [
            RowForm(data, item=item, characteristic=one, unit=job.unit)
            for item, one in wanted
        ]

    def is_valid(self) -> bool:
        own = super().is_valid()
        # Every row is asked, so that each shows what is wrong with it.
        wrong = [row for row in self.rows if not row.is_valid()]
        return own and not wrong

    def clean(self) -> dict[str, Any]:
        """Put what the core refuses beside its row, before anything is recorded."""
        typed: dict[str, Any] = super().clean() or {}
        filled = [row for row in self.rows if row.has_changed()]
        if not filled:
            self.add_error(None, "Type at least one value with its uncertainty.")
        if self.errors:
            return typed
        for row in filled:
            self._try(row)
        entries = [row.entry(typed) for row in filled if row.is_valid()]
        kept = {name: typed.get(name) for name in ("session", "evaluated_by")}
        return kept | {"entries": entries}

    def _try(self, row: RowForm) -> None:
        if row.is_valid():
            try:
                self.judge.decided(row.entry(self.cleaned_data))
            except NotAcceptable as refusal:
                row.add_error(None, refusal.sentence)

    def row_named(self, prefix: str) -> RowForm | None:
        return next((row for row in self.rows if row.prefix == prefix), None)

    def verdict_of(self, row: RowForm) -> Decided | None:
        """Return what a row would mean; None while it is not typed to its end."""
        if not row.has_changed() or not row.is_valid():
            return None
        how = {name: self[name].value() or "" for name in OF_ALL}
        # These two don't bear on the verdict, and may be typed last.
        how["uncertainty_basis"] = how["uncertainty_basis"] or "to be typed"
        how["software"] = how["software"] or "to be typed"
        return self.judge.decided(row.entry(how))

    @cached_property
    def groups(self) -> list[tuple[JobItem, list[RowForm]]]:
        """Return the rows item by item."""
        found: dict[int, tuple[JobItem, list[RowForm]]] = {}
        for row in self.rows:
            found.setdefault(row.item.pk, (row.item, []))[1].append(row)
        return list(found.values())


class CorrectionForm(ValueForm, HowForm):
    """Another value in the place of one, and why."""

    reason = forms.CharField(widget=text_area(2), label="Why the value changes")

    def __init__(self, data: Any, *, result: Result) -> None:
        kept = (*TYPED, *OF_FORM, *OF_ALL, "session")
        super().__init__(data, initial={n: getattr(result, n) for n in kept})
        self.result = result
        sessions = result.job.sessions.filter(items=result.item)
        rows = sessions.select_related("system").order_by("first_at", "pk")
        self.fields["session"].queryset = rows  # type: ignore[attr-defined]
        self.fields["value_text"].label = f"Value in {result.unit}"
        self.fields["expanded_u_text"].label = f"U in {result.unit}"
        self.ask_for_points_of(result.characteristic)

    def clean(self) -> dict[str, Any]:
        typed: dict[str, Any] = super().clean() or {}
        if self.errors:
            return typed
        outside = ("session", "reason")
        named = {n: v for n, v in typed.items() if n not in outside and v is not None}
        entry = ResultEntry(
            item=self.result.item,
            characteristic=self.result.characteristic,
            unit=self.result.unit,
            **named,
        )
        return {name: typed[name] for name in outside} | {"entry": entry}
