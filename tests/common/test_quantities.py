"""Quantities in records and in forms, on a model that lives for these tests only."""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal
from typing import Any

import pytest
from django import forms
from django.db import IntegrityError, connection, models
from django.db.migrations.autodetector import MigrationAutodetector
from django.db.migrations.graph import MigrationGraph
from django.db.migrations.questioner import MigrationQuestioner
from django.db.migrations.state import ModelState, ProjectState
from django.db.migrations.writer import MigrationWriter
from django.test.utils import isolate_apps
from hypothesis import given
from hypothesis import strategies as st

from lab.common.quantities import QuantityField, QuantityFormField
from lab.metrology.units import LENGTH, TEMPERATURE, Quantity

with isolate_apps("lab.common"):

    class Sized(models.Model):
        nominal = QuantityField(LENGTH)

        class Meta:
            abstract = True

    class Gauge(Sized):
        soak = QuantityField(TEMPERATURE, required=False)

        class Meta:
            app_label = "common"
            ordering = ["nominal_mm"]

        def __str__(self) -> str:
            return str(self.nominal)


@pytest.fixture(scope="module")
def gauges_table(django_db_setup: None, django_db_blocker: Any) -> Iterator[None]:
    with django_db_blocker.unblock():
        with connection.schema_editor() as editor:
            editor.create_model(Gauge)
        yield
        with connection.schema_editor() as editor:
            editor.delete_model(Gauge)


@pytest.fixture
def gauges(gauges_table: None, db: None) -> Any:
    return Gauge._default_manager


def test_a_record_gives_back_what_was_typed(gauges: Any) -> None:
    made = gauges.create(nominal=Quantity("12,50", "in"), soak=Quantity("68", "°F"))
    read = gauges.get(pk=made.pk)
    assert read.nominal == Quantity("12,50", "in")
    assert (read.nominal_text, read.nominal_unit) == ("12,50", "in")
    assert read.nominal.value == Decimal("317.5")
    assert read.soak.value == 20


def test_the_value_comes_from_the_text_and_not_from_a_binary_float(gauges: Any) -> None:
    # Twenty digits are more than SQLite's binary float keeps in its column.
    typed = "12345678901.123456789"
    made = gauges.create(nominal=Quantity(typed, "mm"))
    assert gauges.get(pk=made.pk).nominal.value == Decimal(typed)


def test_the_base_column_filters_and_orders_across_units(gauges: Any) -> None:
    for text, unit in [("1", "in"), ("25", "mm"), ("25500", "µm")]:
        gauges.create(nominal=Quantity(text, unit))
    assert [str(gauge) for gauge in gauges.all()] == ["25 mm", "1 in", "25500 µm"]
    assert gauges.filter(nominal_mm__gt=Decimal("25.4")).count() == 1
    assert gauges.filter(nominal_mm=Quantity("1", "in").value).count() == 1


def test_an_optional_quantity_may_be_absent_and_a_required_one_may_not(
    gauges: Any,
) -> None:
    made = gauges.create(nominal=Quantity("1", "mm"))
    assert made.soak is None
    made.soak = Quantity("20", "°C")
    made.save(update_fields=Gauge.soak.column_names)
    assert gauges.get(pk=made.pk).soak == Quantity("20", "°C")
    made.soak = None
    assert (made.soak_text, made.soak_unit, made.soak_degc) == ("", "", None)
    with pytest.raises(TypeError, match="nominal takes a length, not None"):
        made.nominal = None
    with pytest.raises(IntegrityError):
        gauges.create()


def test_a_quantity_of_another_kind_is_refused() -> None:
    with pytest.raises(TypeError, match="nominal takes a length, not Quantity"):
        Gauge(nominal=Quantity("20", "°C"))
    with pytest.raises(TypeError, match="soak takes a temperature, not '20'"):
        Gauge(nominal=Quantity("1", "mm"), soak="20")


def test_columns_serve_an_update(gauges: Any) -> None:
    made = gauges.create(nominal=Quantity("1", "mm"))
    gauges.filter(pk=made.pk).update(**Gauge.nominal.columns(Quantity("2", "in")))
    assert gauges.get(pk=made.pk).nominal == Quantity("2", "in")


def state_of_gauge() -> ProjectState:
    state = ProjectState()
    state.add_model(ModelState.from_model(Gauge))
    return state


def test_migrations_see_three_plain_columns_and_nothing_of_ours() -> None:
    questioner = MigrationQuestioner(specified_apps={"common"})
    first = MigrationAutodetector(ProjectState(), state_of_gauge(), questioner)
    changes = first.changes(MigrationGraph())
    written = MigrationWriter(changes["common"][0]).as_string()
    for column in ("nominal_text", "nominal_unit", "nominal_mm", "soak_degc"):
        assert f"('{column}'," in written
    assert "lab." not in written
    migrated = changes["common"][0].mutate_state(ProjectState())
    again = MigrationAutodetector(migrated, state_of_gauge(), questioner)
    assert again.changes(MigrationGraph()) == {}


# --- Forms ----------------------------------------------------------------------------


class GaugeForm(forms.Form):
    nominal = QuantityFormField(
        LENGTH,
        label="Nominal length",
        sign="positive",
        units=("mm", "in"),
        maximum=Decimal(5000),
    )
    soak = QuantityFormField(TEMPERATURE, required=False, help_text="Of the room.")


def sent(nominal: str = "1", unit: str = "mm", **others: str) -> GaugeForm:
    return GaugeForm({"nominal_text": nominal, "nominal_unit": unit, **others})


def test_a_form_gives_quantities() -> None:
    form = sent("12,5", "in", soak_text="68", soak_unit="°F")
    assert form.is_valid(), form.errors
    assert form.cleaned_data["nominal"] == Quantity("12,5", "in")
    assert form.cleaned_data["soak"].value == 20


def test_an_optional_field_with_a_unit_alone_is_empty() -> None:
    form = sent(soak_text=" ", soak_unit="°F")
    assert form.is_valid()
    assert form.cleaned_data["soak"] is None


@pytest.mark.parametrize(
    ("text", "unit", "words"),
    [
        ("", "mm", "Type a number and its unit, such as 12.5 mm."),
        ("NaN", "mm", "not a finite number"),
        ("1,234.5", "mm", "separator of thousands"),
        ("1,234", "mm", "could mean 1.234 or 1234"),
        ("ten", "mm", "not a number"),
        ("-1", "mm", "-1 mm is not above zero"),
        ("0", "mm", "0 mm is not above zero"),
        ("200", "in", "200 in is too large; the most is 5000 mm."),
        ("1", "m", "Choose one of the units mm, in."),
        ("1", "", "Choose one of the units mm, in."),
        ("9" * 41, "mm", "too long"),
        ("1e99", "mm", "larger than any length"),
    ],
)
def test_a_refusal_stands_beside_its_field(text: str, unit: str, words: str) -> None:
    form = sent(text, unit)
    assert not form.is_valid()
    assert list(form.errors) == ["nominal"]
    assert words in form.errors["nominal"][0]


@pytest.mark.parametrize(
    ("options", "text", "words"),
    [
        ({"sign": "non-negative"}, "-0.1", "below zero"),
        ({"minimum": Decimal(2)}, "1.9", "too small; the least is 2 mm"),
    ],
)
def test_sign_and_least_value_are_asked_for(
    options: dict[str, Any], text: str, words: str
) -> None:
    field = QuantityFormField(LENGTH, **options)
    with pytest.raises(forms.ValidationError, match=words):
        field.clean([text, "mm"])


def test_a_field_left_out_of_the_request_is_missing_not_an_error_500() -> None:
    assert "nominal" in GaugeForm({}).errors


def test_a_refused_form_shows_again_what_was_typed() -> None:
    page = str(sent("1,234", "in")["nominal"])
    assert 'value="1,234"' in page
    assert '<option value="in" selected>' in page


def test_label_and_unit_have_names_and_the_error_is_announced() -> None:
    bound = sent("x")["nominal"]
    page = str(bound)
    assert bound.label_tag().count('for="id_nominal_0"') == 1
    assert 'id="id_nominal_0"' in page
    assert 'aria-label="Unit of nominal length"' in page
    assert 'aria-invalid="true"' in page
    assert 'inputmode="decimal"' in page
    assert "style=" not in page
    assert 'aria-describedby="id_soak_helptext"' in str(GaugeForm()["soak"])


def test_initial_values_and_what_counts_as_a_change() -> None:
    initial = {"nominal": Quantity("1", "in")}
    form = GaugeForm({"nominal_text": "1", "nominal_unit": "in"}, initial=initial)
    assert '<option value="in" selected>' in str(GaugeForm(initial=initial)["nominal"])
    assert form.changed_data == []
    form = GaugeForm({"nominal_text": "1", "nominal_unit": "mm"}, initial=initial)
    assert form.changed_data == ["nominal"]


def test_a_unit_of_another_kind_is_a_programming_error() -> None:
    with pytest.raises(ValueError, match="no units of length"):
        QuantityFormField(LENGTH, units=("mm", "kg"))


@given(
    number=st.decimals(-9_000, 9_000, places=4), unit=st.sampled_from(LENGTH.symbols)
)
def test_a_quantity_survives_form_and_record(number: Decimal, unit: str) -> None:
    quantity = Quantity(f"{number:f}", unit)
    field = QuantityFormField(LENGTH)
    shown = field.widget.decompress(quantity)
    assert field.clean(shown) == quantity
    assert Gauge(nominal=quantity).nominal == quantity
