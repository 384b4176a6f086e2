"""Forms of methods and their revisions."""

from __future__ import annotations

from typing import Any

from django import forms

from lab.common.errors import NotAcceptable
from lab.common.forms import DayField, add_refusal, text_area
from lab.common.quantities import QuantityFormField
from lab.laboratory.forms.places import ClimateForm
from lab.laboratory.models import CharacteristicKind, CheckKind, MethodRevision
from lab.laboratory.models.methods import FEWEST_TARGETS, MINIMUM_TARGETS
from lab.laboratory.scope import Capability
from lab.metrology.units import ANGLE, LENGTH


class TitleForm(forms.Form):
    """A method's title."""

    title = forms.CharField(max_length=120, help_text="Printed on certificates.")


class MethodForm(TitleForm):
    """A new method."""

    code = forms.CharField(
        max_length=40,
        help_text="Letters, digits, - and _, such as MP-03. It stays for good.",
    )
    field_order = ["code", "title"]


class CapabilityForm(forms.Form):
    """One kind of characteristic; left empty, it is out of scope."""

    smallest = QuantityFormField(LENGTH, required=False, label="Smallest size")
    largest = QuantityFormField(LENGTH, required=False, label="Largest size")
    cmc_constant = QuantityFormField(
        LENGTH, required=False, units=["µm", "mm", "in"], label="Claimed, constant part"
    )
    cmc_per_metre = QuantityFormField(
        LENGTH, required=False, units=["µm", "mm"], label="Claimed, more for each metre"
    )
    cmc_angle = QuantityFormField(ANGLE, required=False, label="Claimed")

    capability: Capability | None = None

    def __init__(self, kind: str, data: Any, initial: dict[str, Any] | None) -> None:
        self.kind = CharacteristicKind(kind)
        super().__init__(data, initial=initial, prefix=f"scope-{kind}")
        if self.kind is CharacteristicKind.ANGLE:
            del self.fields["cmc_constant"], self.fields["cmc_per_metre"]
        else:
            del self.fields["cmc_angle"]

    def clean(self) -> dict[str, Any]:
        """Make the capability, unless the kind was left out altogether."""
        cleaned = super().clean() or {}
        typed = {name: value for name, value in cleaned.items() if value is not None}
        if self.errors or not typed:
            return cleaned
        for name in ("smallest", "largest"):
            if name not in typed:
                self.add_error(name, "Give the sizes between which this is in scope.")
        if not self.errors:
            try:
                self.capability = Capability(kind=self.kind.value, **typed)
            except NotAcceptable as refusal:
                add_refusal(self, refusal)
        return cleaned


class RevisionForm(ClimateForm):
    """A method's next revision: its days, limits, checks, and one part per kind."""

    revision = forms.CharField(max_length=20, help_text="Such as 4, or C.")
    valid_from = DayField(label="First day")
    valid_until = DayField(required=False, label="Last day")
    reference_document = forms.CharField(
        max_length=200, help_text="The document that says how it is done."
    )
    changes = forms.CharField(label="What changed, and why", widget=text_area(3))
    minimum_targets = forms.IntegerField(
        label="Fewest targets in view",
        initial=MINIMUM_TARGETS,
        min_value=FEWEST_TARGETS,
        max_value=100,
    )
    checks = forms.MultipleChoiceField(
        label="Artefact checks wanted",
        choices=CheckKind.choices,
        required=False,
        widget=forms.CheckboxSelectMultiple,
    )
    field_order = [
        "revision",
        "valid_from",
        "valid_until",
        "reference_document",
        "changes",
        "minimum_targets",
        "checks",
    ]

    def __init__(
        self, *args: Any, last: MethodRevision | None = None, **kwargs: Any
    ) -> None:
        super().__init__(*args, **kwargs)
        given = {one.kind: one for one in last.capabilities.all()} if last else {}
        data = self.data if self.is_bound else None
        self.scope = [
            CapabilityForm(
                kind,
                data,
                Capability.of(given[kind]).columns() if kind in given else None,
            )
            for kind in CharacteristicKind.values
        ]
        if last is not None:
            self.begin_with(last)
            self.initial.update(
                reference_document=last.reference_document,
                minimum_targets=last.minimum_targets,
                checks=[one.kind for one in last.checks_wanted.all()],
            )

    def is_valid(self) -> bool:
        """Check the form and every kind of its scope: all errors show at once."""
        return all([super().is_valid(), *(part.is_valid() for part in self.scope)])

    @property
    def capabilities(self) -> list[Capability]:
        return [part.capability for part in self.scope if part.capability is not None]

    def content(self) -> dict[str, Any]:
        """Return the whole revision by the names that its service gives it."""
        return self.cleaned_data | {
            "limits": self.limits,
            "capabilities": self.capabilities,
        }
