"""Studies of a measuring system: capability, agreement, outliers.

When a trend will meet its limit is in `lab.metrology.trend`.
"""

from __future__ import annotations

from lab.metrology.studies.capability import (
    Capability,
    TypeOneStudy,
    capability,
    type_one_study,
)
from lab.metrology.studies.comparison import EnScore, en_score
from lab.metrology.studies.outliers import (
    Grubbs,
    Side,
    TietjenMoore,
    grubbs,
    grubbs_critical,
    tietjen_moore,
)
from lab.metrology.trend import TrendForecast, forecast_limit

__all__ = [
    "Capability",
    "EnScore",
    "Grubbs",
    "Side",
    "TietjenMoore",
    "TrendForecast",
    "TypeOneStudy",
    "capability",
    "en_score",
    "forecast_limit",
    "grubbs",
    "grubbs_critical",
    "tietjen_moore",
    "type_one_study",
]
