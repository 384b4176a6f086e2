"""Forms for items: received, measured with a thermometer, returned."""

from __future__ import annotations

from typing import Any

from django import forms

from lab.common.forms import MomentField, text_area
from lab.common.quantities import QuantityFormField
from lab.equipment.models import Device, DeviceKind
from lab.jobs.models import Job, JobItem
from lab.jobs.selectors import items_here
from lab.jobs.services import BodyEntry
from lab.metrology.thermal import MATERIALS
from lab.metrology.units import AREA, LENGTH, MASS, TEMPERATURE

#: What a drawing may call a material, and the line of the handbook table for it.
SPOKEN = {
    "alumin": "aluminium",
    "stainless": "austenitic stainless steel",
    "steel": "steel",
    "iron": "cast iron",
    "brass": "brass",
    "titan": "titanium",
    "granite": "granite",
    "copper": "copper",
    "invar": "invar",
    "carbon fib": "carbon fibre laminate",
}


def stuff_like(spoken: str) -> str:
    """Return the line of the table for a material as a drawing says it, or nothing."""
    said = spoken.casefold()
    return next((name for word, name in SPOKEN.items() if word in said), "")


def _stuff_choices() -> list[tuple[str, str]]:
    return [("", "Not known"), *((name, name) for name in MATERIALS)]


class BodyForm(forms.Form):
    """What an item's soak is predicted from."""

    mass = QuantityFormField(MASS, sign="positive", required=False, label="Mass")
    stuff = forms.ChoiceField(
        choices=_stuff_choices,
        required=False,
        label="Material, for the soak",
        help_text="Handbook density, heat capacity and conductivity of the kind.",
    )
    wall = QuantityFormField(
        LENGTH,
        units=("mm", "in"),
        sign="positive",
        required=False,
        label="Wall thickness, typical",
        help_text="This or the surface. Leave both empty for no prediction.",
    )
    surface = QuantityFormField(AREA, sign="positive", required=False, label="Surface")
    #: Whether a form without wall and surface is complete.
    may_be_left_out = False

    def clean(self) -> dict[str, Any]:
        """Return what was typed with ``body`` in place of its parts."""
        typed = dict(self.cleaned_data)
        mass, stuff, wall, surface = (
            typed.pop(name, None) for name in ("mass", "stuff", "wall", "surface")
        )
        typed["body"] = None
        if self.errors or (self.may_be_left_out and not (wall or surface)):
            return typed
        if mass is None:
            self.add_error("mass", "The soak can't be predicted without the mass.")
        if not stuff:
            self.add_error("stuff", "The soak can't be predicted without the material.")
        if mass and stuff:
            typed["body"] = BodyEntry(mass, stuff, surface, wall)
        return typed


def body_starts_with(item: JobItem) -> dict[str, Any]:
    """Return what is known of an item's body: recorded, or else from its drawing."""
    newest = item.bodies.order_by("-pk").first()
    if newest is not None:
        return {
            name: getattr(newest, name) for name in ("mass", "stuff", "wall", "surface")
        }
    revision = item.job.part_revision
    return {"mass": revision.mass, "stuff": stuff_like(revision.material)}


class ReceiptForm(BodyForm):
    """How an item came in and, where that is known, what its soak depends on."""

    may_be_left_out = True

    at = MomentField(label="Received at")
    condition = forms.CharField(
        max_length=200, help_text="As a certificate will state it."
    )
    damaged = forms.BooleanField(
        required=False, label="Damaged: hold the job until the customer has answered"
    )
    temperature = QuantityFormField(
        TEMPERATURE, required=False, label="Temperature by contact"
    )
    place = forms.CharField(max_length=80, label="Where it is put")
    field_order = ("at", "condition", "damaged", "temperature", "place")


class PartTemperatureForm(forms.Form):
    """How warm an item is, by contact."""

    item = forms.ModelChoiceField(JobItem.objects.none())
    at = MomentField(label="Read at")
    temperature = QuantityFormField(TEMPERATURE)
    place = forms.CharField(
        max_length=80,
        required=False,
        label="Where on the item",
        help_text="A large part is read at several places.",
    )
    thermometer = forms.ModelChoiceField(
        Device.objects.filter(kind=DeviceKind.CONTACT_THERMOMETER)
    )

    def __init__(self, data: Any, *, job: Job, initial: dict[str, Any]) -> None:
        super().__init__(data, initial=initial)
        self.fields["item"].queryset = items_here(job)  # type: ignore[attr-defined]


class ReturnForm(forms.Form):
    """How an item left."""

    at = MomentField(label="Handed over at")
    condition = forms.CharField(max_length=200)
    handed_to = forms.CharField(max_length=120)
    reason = forms.CharField(
        widget=text_area(2),
        required=False,
        help_text="Needed while the job is on hold: why it leaves all the same.",
    )
