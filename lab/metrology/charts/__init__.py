"""Control charts of a measuring system's checks.

`baseline`: what the limits stand on. `shewhart`: charts with fixed limits.
`ewma`: the chart for slow drifts. `rules`: runs that chance rarely makes.
`constants`: the control-chart constants, computed.
"""

from __future__ import annotations

from lab.metrology.charts.baseline import (
    FULL_BASELINE,
    Baseline,
    individuals_baseline,
    moving_ranges,
)
from lab.metrology.charts.constants import ChartConstants, chart_constants
from lab.metrology.charts.ewma import EwmaChart, ewma_chart
from lab.metrology.charts.rules import Signal, nelson, signals, western_electric
from lab.metrology.charts.shewhart import (
    CountsChart,
    IndividualsChart,
    MeanRangeChart,
    ProportionsChart,
    counts_chart,
    individuals_chart,
    mean_range_chart,
    proportions_chart,
)

__all__ = [
    "FULL_BASELINE",
    "Baseline",
    "ChartConstants",
    "CountsChart",
    "EwmaChart",
    "IndividualsChart",
    "MeanRangeChart",
    "ProportionsChart",
    "Signal",
    "chart_constants",
    "counts_chart",
    "ewma_chart",
    "individuals_baseline",
    "individuals_chart",
    "mean_range_chart",
    "moving_ranges",
    "nelson",
    "proportions_chart",
    "signals",
    "western_electric",
]
