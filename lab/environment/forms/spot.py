"""Forms of a room's readings, as they are typed in front of the sensor."""

from __future__ import annotations

from typing import Any

from django import forms

from lab.common import clock
from lab.common.forms import MomentField, text_area
from lab.common.quantities import QuantityFormField
from lab.environment.models import SpotReading
from lab.equipment.models import Device, DeviceKind
from lab.laboratory.models import Room
from lab.metrology.units import HUMIDITY, TEMPERATURE


class ReadingForm(forms.Form):
    """What the sensor of a room shows."""

    temperature = QuantityFormField(TEMPERATURE)
    humidity = QuantityFormField(HUMIDITY, required=False, label="Relative humidity")
    sensor = forms.ModelChoiceField(
        Device.objects.filter(kind=DeviceKind.LOGGER), empty_label="Choose a logger"
    )
    at = MomentField(label="When it was read")


class CorrectionForm(ReadingForm):
    """A reading as it should have been typed, and why."""

    reason = forms.CharField(
        widget=text_area(2), label="Why the reading is corrected, and how you know"
    )


def reading_starts_with(room: Room) -> dict[str, Any]:
    """Return what a new reading begins with: now, and the room's usual logger."""
    before = SpotReading.objects.filter(room=room).order_by("-at", "-pk").first()
    own = Device.objects.filter(kind=DeviceKind.LOGGER, room=room).first()
    sensor = before.sensor_id if before else own and own.pk
    return {"at": clock.now(), "sensor": sensor}


def correction_starts_with(reading: SpotReading) -> dict[str, Any]:
    return {
        "temperature": reading.temperature,
        "humidity": reading.humidity,
        "sensor": reading.sensor_id,
        "at": reading.at,
    }
