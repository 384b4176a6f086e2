"""Adjustment of observations by least squares, with the covariance of the answer.

Every measured quantity is an observation with a residual; the parameters make the
weighted sum of the squared residuals least. What comes out besides the parameters is
what a budget and a check of the observations need: their cofactors, the variance
factor, the degrees of freedom and the redundancy number of each observation.

- `adjust`, `adjust_nonlinear`: any linear or nonlinear model.
- `calibration_line`, `errors_in_both_line`: straight lines through readings.
- `level_network`, `trilaterate`: heights from differences, a point from distances.
- `summarise`: mean, standard deviation and lag-1 autocorrelation of one series.
"""

from __future__ import annotations

from lab.metrology.adjustment.least_squares import (
    Adjustment,
    NonlinearAdjustment,
    NotConverged,
    adjust,
    adjust_nonlinear,
)
from lab.metrology.adjustment.lines import (
    StraightLine,
    calibration_line,
    errors_in_both_line,
)
from lab.metrology.adjustment.networks import (
    HeightDifference,
    LevelNetwork,
    Trilateration,
    level_network,
    trilaterate,
)
from lab.metrology.adjustment.summary import Summary, summarise

__all__ = [
    "Adjustment",
    "HeightDifference",
    "LevelNetwork",
    "NonlinearAdjustment",
    "NotConverged",
    "StraightLine",
    "Summary",
    "Trilateration",
    "adjust",
    "adjust_nonlinear",
    "calibration_line",
    "errors_in_both_line",
    "level_network",
    "summarise",
    "trilaterate",
]
