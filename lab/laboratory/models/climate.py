"""Limits of a room's air, for rooms and for methods alike."""

from __future__ import annotations

from django.db import models

from lab.common.quantities import QuantityField
from lab.metrology.units import (
    HUMIDITY,
    TEMPERATURE,
    TEMPERATURE_DIFFERENCE,
    TEMPERATURE_RATE,
)

#: The window over which a rate of change is taken, unless another is agreed.
RATE_WINDOW_MINUTES = 60
#: Readings farther apart than this have a gap between them, unless another is agreed.
LONGEST_GAP_MINUTES = 15


class ClimateLimits(models.Model):
    """Temperature, its rate of change and its spread in the room, and humidity.

    What has no limit is empty. A rate means nothing without the window over which it
    is taken, so the window always has a value. Readings farther apart than
    ``longest_gap_minutes`` count as missing in between.
    """

    temperature_lowest = QuantityField(TEMPERATURE)
    temperature_highest = QuantityField(TEMPERATURE)
    rate = QuantityField(TEMPERATURE_RATE, required=False)
    rate_window_minutes = models.PositiveSmallIntegerField(default=RATE_WINDOW_MINUTES)
    longest_gap_minutes = models.PositiveSmallIntegerField(default=LONGEST_GAP_MINUTES)
    spread = QuantityField(TEMPERATURE_DIFFERENCE, required=False)
    humidity_lowest = QuantityField(HUMIDITY, required=False)
    humidity_highest = QuantityField(HUMIDITY, required=False)

    class Meta:
        abstract = True

    @property
    def limits_in_words(self) -> list[tuple[str, str]]:
        """Return each limit as a name and a text with its unit."""
        words = [
            ("Temperature", f"{self.temperature_lowest} to {self.temperature_highest}")
        ]
        if self.rate is not None:
            over = f"over {self.rate_window_minutes} min"
            words.append(("Rate of change", f"at most {self.rate}, {over}"))
        if self.spread is not None:
            words.append(("Spread in the room", f"at most {self.spread}"))
        humidity = _between(self.humidity_lowest, self.humidity_highest)
        if humidity:
            words.append(("Relative humidity", humidity))
        words.append(("Readings missing", f"after {self.longest_gap_minutes} min"))
        return words


def _between(lowest: object | None, highest: object | None) -> str:
    if lowest is None and highest is None:
        return ""
    if lowest is None:
        return f"at most {highest}"
    if highest is None:
        return f"at least {lowest}"
    return f"{lowest} to {highest}"
