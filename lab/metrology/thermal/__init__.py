"""Temperature: lengths at 20 °C, the scale from several bars, handbook values.

`length` holds the one convention that all the rest follows; `states` is what was
done to a length before; `bars` combines several calibrated lengths into one scale;
`materials` is the table of handbook expansion coefficients with deliberately wide
defaults.
"""

from __future__ import annotations

from lab.metrology.thermal.assessing import (
    ConditionEffect,
    condition_effect,
    deviation_in_gap,
)
from lab.metrology.thermal.bars import (
    Bar,
    Scale,
    ScaleAtLength,
    scale_at_length,
    scale_from_bars,
)
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
from lab.metrology.thermal.materials import (
    MATERIALS,
    CoefficientSpread,
    Material,
    MeanCoefficient,
    coefficient_spread,
    coefficients_over,
    material,
)
from lab.metrology.thermal.states import (
    AppliedCorrection,
    DifferentProcessingStates,
    ProcessingState,
    UnknownProcessingState,
    imported_length,
    require_same_state,
)

__all__ = [
    "MATERIALS",
    "REFERENCE_DEGC",
    "AppliedCorrection",
    "Bar",
    "CoefficientSpread",
    "ConditionEffect",
    "DifferentProcessingStates",
    "Expansion",
    "Material",
    "MeanCoefficient",
    "PartLength",
    "ProcessingState",
    "Scale",
    "ScaleAtLength",
    "Temperature",
    "ThermalLength",
    "UnknownProcessingState",
    "coefficient_spread",
    "coefficients_over",
    "condition_effect",
    "deviation_in_gap",
    "imported_length",
    "length_at_reference",
    "length_at_temperature",
    "material",
    "part_length_from_bar",
    "require_same_state",
    "scale_at_length",
    "scale_from_bars",
]
