"""Forms of files of readings: the file itself, and how it is to be read."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any, Final

from django import forms

from lab.accounts.models import User
from lab.common.errors import NotAcceptable
from lab.common.files.store import store_file
from lab.environment.logs.guessing import Guess, Wish
from lab.environment.logs.layout import DELIMITERS, TIME_FORMS, Channel, Layout
from lab.environment.models import ReadingImport, ReadingSource
from lab.environment.sensors import SENSORS
from lab.environment.services import begin_import
from lab.equipment.models import Device

#: What a column can be: quantity and unit, and how that is shown.
MEASURED: Final = {
    "temperature °C": "Temperature in °C",
    "temperature °F": "Temperature in °F",
    "humidity %": "Relative humidity in %",
}
NOT_IMPORTED: Final = [("", "Not imported")]


class UploadForm(forms.Form):
    """A file of a logger, and what its source is called."""

    file = forms.FileField(
        label="File of readings",
        help_text="A text file such as CSV, as the logger or its program wrote it.",
    )
    source = forms.ModelChoiceField(
        ReadingSource.objects.all(), required=False, empty_label="A new source"
    )
    source_name = forms.CharField(
        max_length=80,
        required=False,
        label="Name of a new source",
        help_text="What writes files of this shape, such as “Long Room loggers”. How "
        "its file is read is remembered by this name.",
    )

    def begin(self, user: User) -> ReadingImport:
        """Keep the file and take it in."""
        source = self.cleaned_data["source"]
        name = source.name if source else self.cleaned_data["source_name"].strip()
        if not name:
            raise NotAcceptable(
                "Choose the source, or name a new one.", field="source_name"
            )
        file = self.cleaned_data["file"]
        stored = store_file(file, name=file.name, kind="readings")
        return begin_import(
            file=stored, name=stored.original_name, source_name=name, acting_user=user
        )


class WishForm(forms.Form):
    """How a file is parted into columns, where the guess is wrong."""

    delimiter = forms.ChoiceField(
        choices=[("", "As guessed"), *DELIMITERS.items()], required=False
    )
    header = forms.IntegerField(
        required=False,
        min_value=0,
        max_value=10_000,
        label="Row of the column names",
        help_text="Counted from 1; 0 where there is none.",
    )

    def wish(self) -> Wish:
        if not self.is_valid():
            return Wish()
        header = self.cleaned_data["header"]
        return Wish(
            delimiter=self.cleaned_data["delimiter"],
            header_row=None if header is None else header - 1,
        )


@dataclass(frozen=True, slots=True)
class Column:
    """A column as the form shows it: its name, its first cells, its two choices."""

    name: str
    sample: str
    sensor: forms.BoundField
    measured: forms.BoundField


class LayoutForm(forms.Form):
    """Which column is what; begins with what was guessed or is remembered."""

    time_column = forms.TypedChoiceField(coerce=int, label="Column of the time")
    clock_column = forms.TypedChoiceField(
        coerce=int,
        empty_value=None,
        required=False,
        label="Column of the time of day",
        help_text="Only where the date stands in a column of its own.",
    )
    time_form = forms.ChoiceField(
        choices=[("", "Choose"), *TIME_FORMS.items()], label="How times are written"
    )
    zone = forms.CharField(
        max_length=60,
        required=False,
        label="Zone of the logger’s clock",
        help_text="Europe/London changes to summer time, +00:00 never does. It may "
        "stay empty where every time states its offset.",
    )
    decimal = forms.ChoiceField(
        choices=[(".", "20.5 (point)"), (",", "20,5 (comma)")],
        label="Decimal sign",
    )

    def __init__(self, *args: Any, guess: Guess, start: Layout, **kwargs: Any) -> None:
        self.guess, self.base = guess, guess.layout
        kwargs["initial"] = _initial(start)
        super().__init__(*args, **kwargs)
        columns = [(n, self.base.name_of(n)) for n in range(self.base.width)]
        _choices(self.fields["time_column"], [("", "Choose"), *columns])
        _choices(self.fields["clock_column"], [("", "The same"), *columns])
        sensors = Device.objects.filter(kind__in=SENSORS)
        tags = NOT_IMPORTED + [(one.tag, str(one)) for one in sensors]
        for number, name in columns:
            self.fields[f"sensor_{number}"] = forms.ChoiceField(
                choices=tags, required=False, label=f"Sensor of {name}"
            )
            self.fields[f"measured_{number}"] = forms.ChoiceField(
                choices=list(MEASURED.items()), required=False, label=f"What {name} is"
            )

    @property
    def common(self) -> list[forms.BoundField]:
        """Return the fields that stand above the columns."""
        return [self[name] for name in self.base_fields]

    @property
    def columns(self) -> list[Column]:
        shown = []
        for number in range(self.base.width):
            cells = [row[number] for row in self.guess.rows[:3] if number < len(row)]
            shown.append(
                Column(
                    name=self.base.name_of(number),
                    sample=", ".join(cell.strip() for cell in cells),
                    sensor=self[f"sensor_{number}"],
                    measured=self[f"measured_{number}"],
                )
            )
        return shown

    def layout(self) -> Layout:
        """Return the layout that was chosen."""
        chosen = self.cleaned_data
        times = (chosen["time_column"], chosen["clock_column"])
        channels = []
        for number in range(self.base.width):
            sensor = chosen[f"sensor_{number}"]
            quantity, _, unit = chosen[f"measured_{number}"].partition(" ")
            if sensor:
                channels.append(Channel(number, sensor, quantity, unit))
        return replace(
            self.base,
            decimal=chosen["decimal"],
            time_columns=tuple(one for one in times if one is not None),
            time_form=chosen["time_form"],
            zone=chosen["zone"].strip(),
            channels=tuple(channels),
        )


def _choices(field: forms.Field, choices: list[Any]) -> None:
    field.choices = choices  # type: ignore[attr-defined]  # known to choice fields only


def _initial(start: Layout) -> dict[str, Any]:
    times = [*start.time_columns, "", ""]
    initial: dict[str, Any] = {
        "time_column": times[0],
        "clock_column": times[1],
        "time_form": start.time_form,
        "zone": start.zone,
        "decimal": start.decimal,
    }
    for channel in start.channels:
        initial[f"sensor_{channel.column}"] = channel.sensor
        initial[f"measured_{channel.column}"] = f"{channel.quantity} {channel.unit}"
    return initial
