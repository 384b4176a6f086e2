"""Limits of a room's air as a value: what services take and check."""

from __future__ import annotations

from dataclasses import dataclass, fields
from decimal import Decimal
from typing import Any

from lab.common.errors import NotAcceptable
from lab.laboratory.models import ClimateLimits
from lab.laboratory.models.climate import (
    LONGEST_GAP_MINUTES,
    RATE_WINDOW_MINUTES,
)
from lab.metrology.units import Quantity

#: A rate over less than five minutes is noise; over more than a day it hides the sun.
SHORTEST_WINDOW_MINUTES, LONGEST_WINDOW_MINUTES = 5, 1440


@dataclass(frozen=True, slots=True)
class Limits:
    """Limits of temperature, its rate and spread, and humidity; None is no limit.

    Raises
    ------
    NotAcceptable
        If a pair is upside down, a rate or a spread is not above zero, a humidity
        is above 100 %, or the window of the rate or the gap is too short or too long.
    """

    temperature_lowest: Quantity
    temperature_highest: Quantity
    rate: Quantity | None = None
    rate_window_minutes: int = RATE_WINDOW_MINUTES
    longest_gap_minutes: int = LONGEST_GAP_MINUTES
    spread: Quantity | None = None
    humidity_lowest: Quantity | None = None
    humidity_highest: Quantity | None = None

    def __post_init__(self) -> None:
        self._require_order("temperature")
        self._require_order("humidity")
        for name in ("rate", "spread"):
            limit = getattr(self, name)
            if limit is not None and limit.value <= 0:
                raise NotAcceptable(
                    f"{limit} lets nothing pass. Give a limit above zero, or none.",
                    field=name,
                )
        for name in ("humidity_lowest", "humidity_highest"):
            limit = getattr(self, name)
            if limit is not None and not 0 <= limit.value <= Decimal(100):
                raise NotAcceptable(
                    f"{limit} is no relative humidity; it lies within 0 % and 100 %.",
                    field=name,
                )
        if not (
            SHORTEST_WINDOW_MINUTES
            <= self.rate_window_minutes
            <= LONGEST_WINDOW_MINUTES
        ):
            raise NotAcceptable(
                f"A rate is taken over {SHORTEST_WINDOW_MINUTES} to "
                f"{LONGEST_WINDOW_MINUTES} minutes, "
                f"and {self.rate_window_minutes} is outside.",
                field="rate_window_minutes",
            )
        if not 1 <= self.longest_gap_minutes <= LONGEST_WINDOW_MINUTES:
            raise NotAcceptable(
                f"Readings count as missing after 1 to {LONGEST_WINDOW_MINUTES} "
                f"minutes, and {self.longest_gap_minutes} is outside.",
                field="longest_gap_minutes",
            )

    def _require_order(self, name: str) -> None:
        lowest = getattr(self, f"{name}_lowest")
        highest = getattr(self, f"{name}_highest")
        if lowest is None or highest is None or lowest.value < highest.value:
            return
        raise NotAcceptable(
            f"The highest {name} {highest} is not above the lowest, {lowest}. "
            "Turn them round.",
            field=f"{name}_highest",
        )

    def columns(self) -> dict[str, Any]:
        """Return the limits by the names that the models give them."""
        return {name: getattr(self, name) for name in LIMIT_NAMES}

    @classmethod
    def of(cls, record: ClimateLimits) -> Limits:
        """Return the limits of a room or of a method's revision."""
        return cls(**{name: getattr(record, name) for name in LIMIT_NAMES})


#: The names of all limits, in the order in which they are asked for.
LIMIT_NAMES = tuple(limit.name for limit in fields(Limits))
