"""Forms of sites and rooms, and the limits of a room's air."""

from __future__ import annotations

from typing import Any

from django import forms

from lab.common.errors import NotAcceptable
from lab.common.forms import add_refusal, text_area
from lab.common.quantities import QuantityFormField
from lab.laboratory.climate import LIMIT_NAMES, Limits
from lab.laboratory.forms.fields import ZoneField
from lab.laboratory.models import ClimateLimits, Room, Site
from lab.laboratory.models.climate import (
    LONGEST_GAP_MINUTES,
    RATE_WINDOW_MINUTES,
)
from lab.metrology.units import (
    HUMIDITY,
    TEMPERATURE,
    TEMPERATURE_DIFFERENCE,
    TEMPERATURE_RATE,
)


class SiteForm(forms.Form):
    """A place of work."""

    name = forms.CharField(max_length=80)
    address = forms.CharField(
        widget=text_area(), help_text="As it is printed, a line each, at most six."
    )
    time_zone = ZoneField(help_text="Times at this site are shown in it.")
    kind = forms.ChoiceField(
        choices=Site.Kind.choices,
        help_text="Temporary: at a customer's, or wherever a job takes you for a time.",
    )
    in_use = forms.BooleanField(required=False, label="In use")

    def __init__(self, *args: Any, site: Site | None = None, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if site is None:
            del self.fields["in_use"]
        else:
            self.initial = {name: getattr(site, name) for name in self.fields}


class ClimateForm(forms.Form):
    """Limits of temperature, its rate and spread, and humidity."""

    temperature_lowest = QuantityFormField(TEMPERATURE, label="Lowest temperature")
    temperature_highest = QuantityFormField(TEMPERATURE, label="Highest temperature")
    rate = QuantityFormField(
        TEMPERATURE_RATE,
        required=False,
        sign="positive",
        label="Fastest change of temperature",
    )
    rate_window_minutes = forms.IntegerField(
        label="Taken over, in minutes",
        initial=RATE_WINDOW_MINUTES,
        help_text="A rate means nothing without the window that it is taken over.",
    )
    longest_gap_minutes = forms.IntegerField(
        label="Readings count as missing after, in minutes",
        initial=LONGEST_GAP_MINUTES,
        required=False,
        help_text="Longer than the loggers' own interval.",
    )
    spread = QuantityFormField(
        TEMPERATURE_DIFFERENCE,
        required=False,
        sign="positive",
        label="Largest difference within the room",
    )
    humidity_lowest = QuantityFormField(
        HUMIDITY, required=False, label="Lowest relative humidity"
    )
    humidity_highest = QuantityFormField(
        HUMIDITY, required=False, label="Highest relative humidity"
    )

    limits: Limits

    def clean(self) -> dict[str, Any]:
        """Make the limits of the fields; what contradicts itself is refused here."""
        cleaned = super().clean() or {}
        if cleaned.get("longest_gap_minutes") is None:
            cleaned["longest_gap_minutes"] = LONGEST_GAP_MINUTES
        if not self.errors:
            try:
                self.limits = Limits(
                    **{name: cleaned.pop(name) for name in LIMIT_NAMES}
                )
            except NotAcceptable as refusal:
                add_refusal(self, refusal)
        return cleaned

    def begin_with(self, record: ClimateLimits) -> None:
        """Show a record's limits."""
        self.initial.update({name: getattr(record, name) for name in LIMIT_NAMES})


class RoomForm(ClimateForm):
    """A room of a site."""

    name = forms.CharField(max_length=80)
    in_use = forms.BooleanField(required=False, label="In use")
    reason = forms.CharField(
        required=False, label="Reason for the change", widget=text_area(2)
    )
    field_order = ["name"]

    def __init__(self, *args: Any, room: Room | None = None, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if room is None:
            del self.fields["in_use"], self.fields["reason"]
        else:
            self.initial.update(name=room.name, in_use=room.in_use)
            self.begin_with(room)
