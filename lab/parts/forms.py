"""Forms for parts, their revisions and characteristics."""

from __future__ import annotations

from typing import Any

from django import forms

from lab.common.forms import text_area
from lab.common.quantities import QuantityFormField
from lab.customers.models import Customer
from lab.laboratory.models import CharacteristicKind
from lab.metrology.units import EXPANSION, MASS
from lab.parts.entries import CharacteristicEntry
from lab.parts.models import PartRevision

UNITS = ("mm", "in", "°")
#: Empty rows offered below what a revision has; the button for more sends the page.
SPARE_ROWS = 4
MOST_ROWS = 400
ROW_FIELDS = [
    "number",
    "kind",
    "description",
    "unit",
    "nominal_text",
    "lower_text",
    "upper_text",
    "evaluation",
]


class PartForm(forms.Form):
    """A part by its drawing number."""

    customer = forms.ModelChoiceField(Customer.objects.filter(in_use=True))
    number = forms.CharField(max_length=60, label="Drawing or part number")
    name = forms.CharField(max_length=120)


class CharacteristicForm(forms.Form):
    """One row of the table of characteristics."""

    number = forms.CharField(max_length=20)
    kind = forms.ChoiceField(choices=CharacteristicKind.choices)
    description = forms.CharField(max_length=120)
    nominal_text = forms.CharField(max_length=40, required=False, label="Nominal")
    lower_text = forms.CharField(max_length=40, required=False, label="Lower deviation")
    upper_text = forms.CharField(max_length=40, required=False, label="Upper deviation")
    unit = forms.ChoiceField(choices=[(unit, unit) for unit in UNITS])
    evaluation = forms.CharField(
        max_length=200, required=False, label="Association, filter, datum system"
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for name in ("nominal_text", "lower_text", "upper_text"):
            self.fields[name].widget.attrs |= {
                "inputmode": "decimal",
                "autocomplete": "off",
                "class": "quantity",
            }

    def has_changed(self) -> bool:
        """Count a row as filled in only if something was typed, not merely chosen."""
        typed = ("number", "description", "nominal_text", "lower_text", "upper_text")
        return any((self[name].value() or "").strip() for name in typed)


Rows = forms.formset_factory(
    CharacteristicForm, extra=SPARE_ROWS, max_num=MOST_ROWS, absolute_max=MOST_ROWS
)


class RevisionForm(forms.Form):
    """What the drawing says of the part as a whole."""

    revision = forms.CharField(
        max_length=20, label="Drawing revision", help_text="As on the drawing."
    )
    material = forms.CharField(max_length=80)
    expansion = QuantityFormField(
        EXPANSION,
        default_unit="µm/(m·K)",
        label="Coefficient of thermal expansion",
        help_text="Handbook values: aluminium alloys about 23, steels 11 to 17.",
    )
    expansion_u = QuantityFormField(
        EXPANSION,
        default_unit="µm/(m·K)",
        label="Its standard uncertainty",
        sign="non-negative",
    )
    mass = QuantityFormField(MASS, required=False, sign="positive")
    surface_finish = forms.CharField(max_length=80, required=False)
    changes = forms.CharField(
        widget=text_area(2),
        required=False,
        label="What changed, and why",
    )

    def __init__(self, data: Any, *, before: PartRevision | None, name: str) -> None:
        """Start from the revision before; ``name`` is that of one to be corrected."""
        super().__init__(data, initial=_as_before(before) | {"revision": name})
        rows = before.characteristics.values(*ROW_FIELDS) if before else []
        self.rows = Rows(_with_more_rows(data), initial=list(rows), prefix="rows")

    @property
    def wants_rows(self) -> bool:
        """Tell whether the button for more rows was pressed, not the one that sends."""
        return "more" in self.data

    def is_valid(self) -> bool:
        return not self.wants_rows and self.rows.is_valid() and super().is_valid()

    def clean(self) -> dict[str, Any]:
        if not self.rows.is_valid():
            return self.cleaned_data
        typed = [row.cleaned_data for row in self.rows.forms if row.has_changed()]
        entries = [CharacteristicEntry(**row) for row in typed]
        return self.cleaned_data | {"characteristics": entries}


def _as_before(before: PartRevision | None) -> dict[str, Any]:
    kept = ("material", "expansion", "expansion_u", "mass", "surface_finish")
    return {name: getattr(before, name) for name in kept} if before else {}


def _with_more_rows(data: Any) -> Any:
    """Return what was posted, with a few more empty rows if they were asked for."""
    if not data or "more" not in data:
        return data
    wider = data.copy()
    said = str(wider.get("rows-TOTAL_FORMS", ""))
    rows = int(said) if said.isdecimal() else 0
    wider["rows-TOTAL_FORMS"] = str(min(rows + SPARE_ROWS, MOST_ROWS))
    return wider
