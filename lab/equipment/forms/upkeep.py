"""Forms for a device's log, its planned maintenance, its photos and documents."""

from __future__ import annotations

from typing import Any

from django import forms

from lab.common.forms import DayField, MomentField, text_area
from lab.equipment.models import ALWAYS_BREAKING, Device, DeviceEvent, MaintenanceTask
from lab.laboratory.models import Room

_BREAKING = ", ".join(
    kind.label.lower() for kind in DeviceEvent.Kind if kind in ALWAYS_BREAKING
)


class EventForm(forms.Form):
    """One line of a device's log."""

    kind = forms.ChoiceField(choices=DeviceEvent.Kind.choices, label="What it was")
    at = MomentField(label="When")
    note = forms.CharField(
        widget=text_area(3),
        label="What was done, or what happened",
        help_text="By whom, if not by you, and with which result.",
    )
    task = forms.ModelChoiceField(
        MaintenanceTask.objects.none(),
        required=False,
        label="Planned maintenance that this was",
    )
    firmware = forms.CharField(
        max_length=60,
        required=False,
        label="New version",
        help_text="With “firmware or software changed” only.",
    )
    room = forms.ModelChoiceField(
        Room.objects.filter(in_use=True).select_related("site"),
        required=False,
        label="New room",
        help_text="With “moved to another room” only.",
    )
    may_measure_differently = forms.BooleanField(
        required=False,
        label="It may measure differently since",
        help_text="Every measuring system with the device then needs a new check "
        f"before it measures. Always so after: {_BREAKING}.",
    )
    take_out = forms.BooleanField(
        required=False, label="Take it out of service until somebody has looked at it"
    )

    def __init__(self, *args: Any, device: Device, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        planned = device.maintenance_tasks.filter(is_ended=False)
        tasks: Any = self.fields["task"]
        tasks.queryset = planned


class MaintenanceForm(forms.Form):
    """Work that comes round."""

    title = forms.CharField(max_length=80, label="What is to be done")
    every_days = forms.IntegerField(
        min_value=1, max_value=3660, label="Every so many days"
    )
    first_due_on = DayField(label="First due")
    instructions = forms.CharField(
        widget=text_area(3),
        required=False,
        help_text="The maker's instructions come first.",
    )


class PhotoForm(forms.Form):
    """A photo of the device."""

    upload = forms.FileField(label="JPEG, PNG or WebP picture")
    title = forms.CharField(max_length=120, label="What it shows")


class DocumentForm(forms.Form):
    """A document that belongs to the device's record."""

    upload = forms.FileField(label="File")
    title = forms.CharField(max_length=120, label="What it is")


class LabelsForm(forms.Form):
    """Which labels to print on a sheet, and where the first free place is."""

    devices = forms.ModelMultipleChoiceField(
        Device.objects.all(), to_field_name="tag", widget=forms.CheckboxSelectMultiple
    )
    used = forms.IntegerField(
        min_value=0,
        max_value=26,
        initial=0,
        label="Labels already taken from the first sheet",
    )
