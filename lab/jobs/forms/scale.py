"""The form for bars in view, filled in at the machine."""

from __future__ import annotations

from typing import Any

from django import forms

from lab.common import clock
from lab.common.forms import MomentField
from lab.common.quantities import QuantityFormField
from lab.equipment.models import CalibratedValue, Device, DeviceKind
from lab.equipment.selectors import current_calibration
from lab.jobs.services import BarReading
from lab.metrology.units import LENGTH, TEMPERATURE, Quantity

BARS = (DeviceKind.SCALE_BAR, DeviceKind.BALL_BAR)
MOST = 3


class ScaleForm(forms.Form):
    """Up to three bars: which length, what was read of it, how warm the bar was."""

    at = MomentField(label="Read at")
    thermometer = forms.ModelChoiceField(
        Device.objects.filter(kind=DeviceKind.CONTACT_THERMOMETER),
        label="Thermometer that read the bars",
    )

    def __init__(self, data: Any, *, initial: dict[str, Any]) -> None:
        super().__init__(data, initial=initial)
        choices = [("", "No bar"), *((str(one.pk), _words(one)) for one in lengths())]
        for number in range(1, MOST + 1):
            self.fields[f"bar_{number}"] = forms.ChoiceField(
                choices=choices, required=number == 1, label=f"Bar {number}"
            )
            self.fields[f"reading_{number}"] = QuantityFormField(
                LENGTH,
                required=False,
                sign="positive",
                label=f"Bar {number}: length read",
            )
            self.fields[f"reading_u_{number}"] = QuantityFormField(
                LENGTH,
                required=False,
                sign="non-negative",
                default_unit="µm",
                label=f"Bar {number}: standard uncertainty of the reading",
                help_text="From repeats, or as the method states it."
                if number == 1
                else "",
            )
            self.fields[f"temperature_{number}"] = QuantityFormField(
                TEMPERATURE, required=False, label=f"Bar {number}: temperature"
            )

    def clean(self) -> dict[str, Any]:
        """Return the bars that were chosen as ``readings``."""
        typed = self.cleaned_data
        known = {str(one.pk): one for one in lengths()}
        readings = []
        for number in range(1, MOST + 1):
            chosen = typed.get(f"bar_{number}")
            if not chosen:
                continue
            names = (
                f"reading_{number}",
                f"reading_u_{number}",
                f"temperature_{number}",
            )
            given: list[Quantity | None] = [typed.get(name) for name in names]
            for name, value in zip(names, given, strict=True):
                if value is None and name not in self.errors:
                    self.add_error(name, "This is needed for a bar that was read.")
            if None not in given:
                readings.append(BarReading(known[chosen], *given))  # type: ignore[arg-type]
        return {
            "at": typed.get("at"),
            "thermometer": typed.get("thermometer"),
            "readings": readings,
        }


def lengths() -> list[CalibratedValue]:
    """Return the calibrated lengths of every bar that is current now."""
    found: list[CalibratedValue] = []
    for device in Device.objects.filter(kind__in=BARS):
        calibration = current_calibration(device, clock.now())
        if calibration is not None:
            as_left = CalibratedValue.Moment.AS_LEFT
            rows = calibration.values.filter(moment=as_left)
            found += rows.select_related("calibration__device").order_by("pk")
    return found


def _words(one: CalibratedValue) -> str:
    return f"{one.calibration.device.tag}, {one.label}: {one.value}"
