"""Forms for devices and their status."""

from __future__ import annotations

from django import forms

from lab.common.forms import MomentField, text_area
from lab.common.quantities import QuantityFormField
from lab.equipment.models import DeviceKind, DeviceStatus
from lab.laboratory.models import Room
from lab.metrology.units import EXPANSION


class DeviceForm(forms.Form):
    """What is known of a device besides its tag and kind."""

    name = forms.CharField(max_length=80)
    serial = forms.CharField(max_length=60, label="Serial number")
    maker = forms.CharField(max_length=80, required=False)
    type_name = forms.CharField(max_length=80, required=False, label="Type")
    expansion = QuantityFormField(
        EXPANSION,
        required=False,
        default_unit="µm/(m·K)",
        label="Coefficient of thermal expansion",
        help_text="Needed for artefacts.",
    )
    expansion_u = QuantityFormField(
        EXPANSION,
        required=False,
        default_unit="µm/(m·K)",
        label="Its standard uncertainty",
    )
    laser_class = forms.CharField(
        max_length=10,
        required=False,
        label="Laser class",
        help_text="To IEC 60825-1, from the label on the device.",
    )
    notes = forms.CharField(widget=text_area(3), required=False)


class NewDeviceForm(DeviceForm):
    """A new device with its tag and kind."""

    tag = forms.CharField(max_length=30, help_text="The lab's own, as on its label.")
    kind = forms.ChoiceField(choices=DeviceKind.choices)
    firmware = forms.CharField(
        max_length=60, required=False, label="Firmware or software version"
    )
    room = forms.ModelChoiceField(
        Room.objects.filter(in_use=True).select_related("site"),
        required=False,
        label="Where it belongs",
    )
    field_order = ("tag", "kind", "name", "serial", "maker", "type_name", "firmware")


class StatusForm(forms.Form):
    """A device's status from an instant on."""

    status = forms.ChoiceField(choices=DeviceStatus.Status.choices)
    reason = forms.CharField(widget=text_area(2))
    restriction = forms.CharField(
        widget=text_area(2),
        required=False,
        help_text="With “restricted” only: what it may not be used for, until when.",
    )
    at = MomentField(label="From when on")
