"""Temperature: lengths at 20 °C, the scale from several bars, handbook values.

`length` holds the one convention that all the rest follows; `bars` combines
several calibrated lengths into one scale; `materials` is the table of handbook
expansion coefficients with deliberately wide defaults.
"""

from __future__ import annotations

from lab.metrology.thermal.length import (
    REFERENCE_DEGC,
    Expansion,
    PartLength,
    Temperature,
    ThermalLength,
    length_at_reference,
    length_at_temperature,
    part_length_from_bar,
)

__all__ = [
    "REFERENCE_DEGC",
    "Expansion",
    "PartLength",
    "Temperature",
    "ThermalLength",
    "length_at_reference",
    "length_at_temperature",
    "part_length_from_bar",
]
