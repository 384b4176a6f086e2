"""Forms of the sensors: where one stands, and the key by which a logger sends."""

from __future__ import annotations

from typing import Any

from django import forms

from lab.common import clock
from lab.common.forms import MomentField
from lab.environment.sensors import SENSORS
from lab.equipment.models import Device
from lab.laboratory.models import Room


def sensor_field() -> forms.ModelChoiceField[Device]:
    return forms.ModelChoiceField(
        Device.objects.filter(kind__in=SENSORS), empty_label="Choose a sensor"
    )


class PlaceForm(forms.Form):
    """In which room a sensor stands, from when on."""

    sensor = sensor_field()
    room = forms.ModelChoiceField(
        Room.objects.filter(in_use=True),
        required=False,
        empty_label="In none: it was taken out",
    )
    since = MomentField(label="Since when")
    position = forms.CharField(
        max_length=120, required=False, help_text="Such as “north wall, 1.5 m up”."
    )


def place_starts_with() -> dict[str, Any]:
    return {"since": clock.now()}


class TokenForm(forms.Form):
    """Which logger may send, and what its key is called."""

    sensor = sensor_field()
    name = forms.CharField(
        max_length=80,
        label="Name of the key",
        help_text="Where it is kept, such as “gateway in the Long Room”.",
    )
