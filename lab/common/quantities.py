"""Typed quantities in records and in forms: as typed, with a unit, and one exact value.

A model says ``nominal = QuantityField(LENGTH)`` and gets three columns:
``nominal_text`` and ``nominal_unit`` hold what was typed, ``nominal_mm`` the value in
the base unit, for filters and order. ``record.nominal`` is a
:class:`~lab.metrology.units.Quantity` and is made from the text each time it is read:
SQLite keeps decimals as binary floats, and a record must not change with the database.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from decimal import Decimal
from typing import Any, Generic, Literal, TypeVar, overload

from django import forms
from django.db import models

from lab.metrology.errors import MetrologyError
from lab.metrology.units import Kind, Quantity

Held = TypeVar("Held", bound=Quantity | None)

TEXT_LENGTH = 40
UNIT_LENGTH = 12


class QuantityField(property, Generic[Held]):
    """Three columns and one attribute that is a quantity.

    It is a property, because Django takes the names of properties as arguments of
    ``Model(...)``, ``create`` and ``get_or_create``. ``QuantityField(LENGTH)`` must
    hold a quantity when it is saved; ``QuantityField(LENGTH, required=False)`` may
    hold None. ``Part.nominal.columns(quantity)`` gives the columns for an ``update``,
    and ``Part.nominal.column_names`` those for ``save(update_fields=...)``.
    """

    @overload
    def __init__(
        self: QuantityField[Quantity], kind: Kind, *, required: Literal[True] = True
    ) -> None: ...
    @overload
    def __init__(
        self: QuantityField[Quantity | None], kind: Kind, *, required: Literal[False]
    ) -> None: ...
    def __init__(self, kind: Kind, *, required: bool = True) -> None:
        super().__init__(self._read, self._write)
        self.kind = kind
        self.required = required
        self.name = ""
        blank = not required
        self._parts: tuple[models.Field[Any, Any], ...] = (
            models.CharField(max_length=TEXT_LENGTH, blank=blank),
            models.CharField(max_length=UNIT_LENGTH, blank=blank),
            models.DecimalField(
                max_digits=kind.digits,
                decimal_places=kind.places,
                null=blank,
                blank=blank,
                editable=False,
            ),
        )

    def contribute_to_class(self, model: type[models.Model], name: str) -> None:
        """Add the columns and put this attribute in their front."""
        self.name = name
        for column, part in zip(self.column_names, self._parts, strict=True):
            model.add_to_class(column, part)
        setattr(model, name, self)

    @property
    def column_names(self) -> tuple[str, str, str]:
        return (f"{self.name}_text", f"{self.name}_unit", self.base_column)

    @property
    def base_column(self) -> str:
        """Return the name of the column in the base unit, such as ``nominal_mm``."""
        return f"{self.name}_{self.kind.suffix}"

    def columns(self, quantity: Quantity | None) -> dict[str, str | Decimal | None]:
        """Return what the three columns hold for a quantity, for an ``update``.

        Raises
        ------
        TypeError
            If it is no quantity of this kind, or none where one is required.
        """
        if quantity is None and not self.required:
            values: tuple[str | Decimal | None, ...] = ("", "", None)
        elif isinstance(quantity, Quantity) and quantity.kind is self.kind:
            values = (quantity.text, quantity.unit, quantity.value)
        else:
            raise TypeError(f"{self.name} takes a {self.kind.name}, not {quantity!r}.")
        return dict(zip(self.column_names, values, strict=True))

    @overload
    def __get__(self, record: None, owner: type[Any], /) -> QuantityField[Held]: ...
    @overload
    def __get__(self, record: Any, owner: type[Any] | None = None, /) -> Held: ...
    def __get__(self, record: Any, owner: type[Any] | None = None, /) -> Any:
        return super().__get__(record, owner)

    def _read(self, record: models.Model) -> Quantity | None:
        text_column, unit_column, _ = self.column_names
        text, unit = getattr(record, text_column), getattr(record, unit_column)
        return Quantity(text, unit) if text else None

    def _write(self, record: models.Model, quantity: Quantity | None) -> None:
        for column, value in self.columns(quantity).items():
            setattr(record, column, value)


# --- In forms -------------------------------------------------------------------------


class QuantityWidget(forms.MultiWidget):
    """A number and the choice of its unit: ``<name>_text`` and ``<name>_unit``."""

    use_fieldset = False  # the label belongs to the number; the unit has its own name

    def __init__(self, units: Sequence[str], default_unit: str) -> None:
        self.default_unit = default_unit
        number = forms.TextInput(
            attrs={
                "inputmode": "decimal",
                "autocomplete": "off",
                "maxlength": TEXT_LENGTH,
                "class": "quantity",
            }
        )
        unit = forms.Select(
            attrs={"class": "unit", "aria-label": "Unit"},
            choices=[(symbol, symbol) for symbol in units],
        )
        super().__init__({"text": number, "unit": unit})

    def id_for_label(self, id_: str) -> str:
        return f"{id_}_0" if id_ else id_

    def decompress(self, value: Any) -> list[Any]:
        if isinstance(value, Quantity):
            return [value.text, value.unit]
        return ["", self.default_unit]


class QuantityFormField(forms.Field):
    """A typed quantity of a kind, cleaned to a ``Quantity`` (or None where optional).

    ``sign`` asks for a value above zero ("positive") or not below it
    ("non-negative"); ``minimum`` and ``maximum`` are in the kind's base unit. A field
    left with a unit alone is empty.
    """

    widget: QuantityWidget

    def __init__(
        self,
        kind: Kind,
        *,
        required: bool = True,
        units: Iterable[str] | None = None,
        default_unit: str | None = None,
        sign: Literal["any", "positive", "non-negative"] = "any",
        minimum: Decimal | None = None,
        maximum: Decimal | None = None,
        **kwargs: Any,
    ) -> None:
        self.kind = kind
        self.units = tuple(units or kind.symbols)
        self.sign = sign
        self.minimum, self.maximum = minimum, maximum
        if foreign := set(self.units) - set(kind.symbols):
            raise ValueError(f"{sorted(foreign)} are no units of {kind.name}.")
        widget = QuantityWidget(self.units, default_unit or self.units[0])
        super().__init__(required=required, widget=widget, **kwargs)

    def get_bound_field(self, form: forms.BaseForm, field_name: str) -> Any:
        """Name the choice of unit after the field, for whoever can't see the two."""
        bound = super().get_bound_field(form, field_name)
        self.widget.widgets[1].attrs["aria-label"] = f"Unit of {bound.label.lower()}"
        return bound

    def clean(self, value: Any) -> Quantity | None:
        text, unit = self._typed(value)
        if not text:
            if self.required:
                raise forms.ValidationError(
                    f"Type a number and its unit, such as 12.5 {self.units[0]}.",
                    code="required",
                )
            return None
        if unit not in self.units:
            raise forms.ValidationError(
                f"Choose one of the units {', '.join(self.units)}.", code="unit"
            )
        try:
            quantity = Quantity(text, unit)
        except MetrologyError as refusal:
            raise forms.ValidationError(str(refusal), code="invalid") from None
        self._refuse_out_of_range(quantity)
        return quantity

    def has_changed(self, initial: Any, data: Any) -> bool:
        typed = self._typed(data)
        was = self._typed(self.widget.decompress(initial))
        return not self.disabled and typed != was and bool(typed[0] or was[0])

    def _typed(self, value: Any) -> tuple[str, str]:
        text, unit = value or ("", "")
        return (text or "").strip(), (unit or "").strip()

    def _refuse_out_of_range(self, quantity: Quantity) -> None:
        value, base = quantity.value, self.kind.base
        wrong = ""
        if self.sign == "positive" and value <= 0:
            wrong = f"{quantity} is not above zero; type a value that is."
        elif self.sign == "non-negative" and value < 0:
            wrong = f"{quantity} is below zero; type a value that is not."
        elif self.minimum is not None and value < self.minimum:
            wrong = f"{quantity} is too small; the least is {self.minimum} {base}."
        elif self.maximum is not None and value > self.maximum:
            wrong = f"{quantity} is too large; the most is {self.maximum} {base}."
        if wrong:
            raise forms.ValidationError(wrong, code="range")
