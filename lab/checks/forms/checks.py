"""Forms of a check: as it is recorded beside the machine, and what follows it."""

from __future__ import annotations

import uuid
from collections.abc import Mapping
from datetime import datetime, timedelta
from typing import Any

from django import forms

from lab.checks.judging import Judged, judged_so_far, quantity_of, reading_unit
from lab.checks.models import (
    ArtefactCheck,
    Break,
    CheckVoid,
    MeasuringSystem,
    ProcedureRevision,
)
from lab.checks.selectors import last_check_by
from lab.checks.sources import Source, require_unchanged, source_of
from lab.common import clock
from lab.common.errors import NotAcceptable
from lab.common.forms import MomentField, text_area
from lab.common.quantities import QuantityFormField
from lab.equipment.models import Device, DeviceKind
from lab.equipment.selectors import current_calibration
from lab.metrology.units import LENGTH, TEMPERATURE, Quantity

#: How long a check takes if the system had none before (common practice, no source).
USUAL_LENGTH = timedelta(minutes=15)


class ThermometerField(forms.ModelChoiceField):  # type: ignore[type-arg] # not at runtime
    """A contact thermometer, with what its calibration says today."""

    def label_from_instance(self, device: Any) -> str:
        calibration = current_calibration(device, clock.now())
        if calibration is None:
            return f"{device.tag}, no current calibration"
        return f"{device.tag}, calibrated to {calibration.due_on:%Y-%m-%d}"


class CheckForm(forms.Form):
    """One check by one procedure: a field for each prescribed reading.

    Readings may also come as one pasted column, or out of a file that was read before
    (``source``, signed).
    """

    artefact_temperature = QuantityFormField(
        TEMPERATURE, label="Temperature of the artefact"
    )
    thermometer = ThermometerField(
        Device.objects.filter(kind=DeviceKind.CONTACT_THERMOMETER),
        label="Read with",
        empty_label="Choose a contact thermometer",
    )
    started_at = MomentField(label="Started")
    ended_at = MomentField(label="Ended")
    column = forms.CharField(
        required=False,
        widget=text_area(3),
        label="All readings as one column",
        help_text="One a line, in the order above; they take the place of the fields.",
    )
    points = forms.FileField(
        required=False,
        label="A file of readings or of measured points",
        help_text="CSV or text. Readings, in the unit above: position and reading. "
        "Points, in mm: x, y, z, with position, and feature (A, B), where there are "
        "several.",
    )
    form_key = forms.UUIDField(widget=forms.HiddenInput)
    revision_number = forms.IntegerField(widget=forms.HiddenInput)
    source = forms.CharField(required=False, widget=forms.HiddenInput)

    def __init__(
        self,
        data: Any,
        files: Any = None,
        *,
        revision: ProcedureRevision,
        **kwargs: Any,
    ) -> None:
        self.revision = revision
        self.unit = reading_unit(revision, clock.now())
        self.positions = {
            f"position_{number}": name
            for number, name in enumerate(revision.reading_names)
        }
        self.column_refusal = ""
        super().__init__(self._with_column(data), files, **kwargs)
        for field, name in self.positions.items():
            self.fields[field] = _reading_field(name, self.unit, revision)

    def _with_column(self, data: Any) -> Any:
        """Return what was typed, with a pasted column in the fields of the readings."""
        typed = (data.get("column") or "").split("\n") if data else []
        lines = [line.strip() for line in typed if line.strip()]
        if not lines:
            return data
        if len(lines) != len(self.positions):
            self.column_refusal = (
                f"The column has {len(lines)} readings; the procedure prescribes "
                f"{len(self.positions)}."
            )
            return data
        texts = dict(zip(self.positions, lines, strict=True))
        return self._filled(data, texts) | {"column": ""}

    def _filled(self, data: Any, texts: Mapping[str, str]) -> dict[str, Any]:
        """Return what was typed with other texts for some fields of readings."""
        plain = {name: data.get(name) for name in data}
        for field, text in texts.items():
            plain |= {f"{field}_text": text, f"{field}_unit": self.unit}
        return plain

    def filled_from(self, source: Source) -> CheckForm:
        """Return this form with the readings of a file, and nothing complained of."""
        texts = {
            field: source.texts.get(name, "") for field, name in self.positions.items()
        }
        data = self._filled(self.data, texts) | {
            "column": "",
            "source": source.signed(self.revision),
        }
        form = CheckForm(data, revision=self.revision, initial=self.initial)
        form.errors.clear()
        return form

    @property
    def position_fields(self) -> list[forms.BoundField]:
        return [self[field] for field in self.positions]

    @property
    def first_fields(self) -> list[forms.BoundField]:
        return [self["artefact_temperature"], self["thermometer"]]

    @property
    def time_fields(self) -> list[forms.BoundField]:
        return [self["started_at"], self["ended_at"]]

    def clean(self) -> dict[str, Any]:
        """Gather what the service takes: the positions under ``readings``."""
        typed = super().clean() or {}
        if typed.pop("revision_number", None) != self.revision.number:
            # The fields go by their place; another revision may prescribe others.
            self.add_error(
                None,
                f"{self.revision} counts now, and this form was made for another. "
                "Open it anew and measure by that.",
            )
        readings = {
            name: typed.pop(field)
            for field, name in self.positions.items()
            if field in typed
        }
        if "form_key" in typed:
            typed["form_key"] = str(typed["form_key"])
        else:
            self.add_error(None, "This form has no key of its own. Open it anew.")
        if self.column_refusal:
            self.add_error("column", self.column_refusal)
        typed |= self._source(typed.pop("source", ""), readings)
        for aid in ("column", "points"):
            typed.pop(aid, None)
        return typed | {"readings": readings, "procedure": self.revision}

    def _source(self, signed: str, readings: Mapping[str, Quantity]) -> dict[str, Any]:
        """Return the file that the readings were read from, if they were."""
        if not signed:
            return {}
        try:
            source = source_of(signed, self.revision)
            typed = {name: reading.text for name, reading in readings.items()}
            require_unchanged(source, typed)
        except NotAcceptable as refusal:
            self.add_error(None, refusal.sentence)
            return {}
        return {"source": source.file, "source_note": source.note}

    def so_far(self) -> Judged:
        """Judge what is typed up to now; nothing is stored.

        Raises
        ------
        NotAcceptable
            If the temperature or every reading is missing, or as recording it would.
        """
        self.is_valid()
        typed = self.cleaned_data
        temperature: Quantity | None = typed.get("artefact_temperature")
        if temperature is None:
            raise NotAcceptable("Type the temperature of the artefact first.")
        if not typed["readings"]:
            raise NotAcceptable("No position is typed yet.")
        started_at: datetime = typed.get("started_at") or clock.now()
        return judged_so_far(
            revision=self.revision,
            started_at=started_at,
            artefact_temperature=temperature,
            readings=typed["readings"],
        )


def _reading_field(
    name: str, unit: str, revision: ProcedureRevision
) -> QuantityFormField:
    """Return a field whose unit is the form's and not to be chosen."""
    field = QuantityFormField(
        LENGTH,
        units=[unit],
        label=name,
        sign="non-negative" if quantity_of(revision).is_form else "positive",
    )
    field.widget.widgets = [field.widget.widgets[0], forms.HiddenInput()]
    return field


def start_values(
    system: MeasuringSystem, revision: ProcedureRevision
) -> dict[str, Any]:
    """Return what the form begins with: now, a key, and what the last check had."""
    now = clock.now()
    before = last_check_by(system, revision.procedure)
    length = before.ended_at - before.started_at if before else USUAL_LENGTH
    only = Device.objects.filter(kind=DeviceKind.CONTACT_THERMOMETER)[:2]
    return {
        "started_at": now - length,
        "ended_at": now,
        "thermometer": before.thermometer_id
        if before
        else (only[0].pk if len(only) == 1 else None),
        "form_key": uuid.uuid4(),
        "revision_number": revision.number,
    }


class VoidForm(forms.Form):
    """Why a check counts for nothing."""

    cause = forms.ChoiceField(
        choices=CheckVoid.Cause.choices, widget=forms.RadioSelect, label="Cause"
    )
    reason = forms.CharField(widget=text_area(3), label="Reason, in your own words")

    def __init__(self, data: Any, *, check: ArtefactCheck) -> None:
        super().__init__(data)
        if not check.passed:
            recorded_wrongly = CheckVoid.Cause.RECORDING_ERROR
            self.fields[
                "cause"
            ].help_text = (
                f"A failed check is void for one cause only: {recorded_wrongly.label}."
            )


class ConfirmForm(forms.Form):
    """A second person's word for a check that was recorded late."""

    reason = forms.CharField(
        widget=text_area(3),
        label="How you know that it was measured as recorded",
    )


class BreakForm(forms.Form):
    """Something after which the system may measure differently."""

    kind = forms.ChoiceField(
        choices=Break.Kind.choices, widget=forms.RadioSelect, label="What happened"
    )
    at = MomentField(label="When")
    note = forms.CharField(widget=text_area(3), label="What exactly")


class AcknowledgeForm(forms.Form):
    """What was found about a warning, and what was done."""

    note = forms.CharField(
        widget=text_area(3),
        label="What you found, and what was done",
        help_text="Such as: nest cleaned, bar measured again; trend watched.",
    )
