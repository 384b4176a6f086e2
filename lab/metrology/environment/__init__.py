"""What a room's loggers say, and what they don't.

`readings`: order, repeats, gaps. `sensors`: correction by the calibration.
`rates`: rate of change over a stated window. `conditions`: time-weighted means,
excursions, share inside limits. `gradient`: several sensors at one time.
`pictures`: reduction that keeps every peak.
"""

from __future__ import annotations

from lab.metrology.environment.conditions import (
    Band,
    Conditions,
    Excursion,
    ExcursionSide,
    conditions_over,
    excursions,
)
from lab.metrology.environment.gradient import SpatialGradient, spatial_gradient
from lab.metrology.environment.pictures import Buckets, Picture, buckets, picture_of
from lab.metrology.environment.rates import RateOfChange, rate_of_change
from lab.metrology.environment.readings import (
    Gap,
    OrderedReadings,
    Pieces,
    Readings,
    Window,
    gaps_in,
    ordered_readings,
    straight_pieces,
)
from lab.metrology.environment.sensors import (
    CorrectedReadings,
    SensorCalibration,
    corrected_readings,
)

__all__ = [
    "Band",
    "Buckets",
    "Conditions",
    "CorrectedReadings",
    "Excursion",
    "ExcursionSide",
    "Gap",
    "OrderedReadings",
    "Picture",
    "Pieces",
    "RateOfChange",
    "Readings",
    "SensorCalibration",
    "SpatialGradient",
    "Window",
    "buckets",
    "conditions_over",
    "corrected_readings",
    "excursions",
    "gaps_in",
    "ordered_readings",
    "picture_of",
    "rate_of_change",
    "spatial_gradient",
    "straight_pieces",
]
