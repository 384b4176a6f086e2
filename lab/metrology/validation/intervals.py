"""Calibration intervals: the staircase rule and the drift."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from typing import Any

from lab.metrology.intervals import Advice, staircase
from lab.metrology.trend import forecast_limit

__all__ = ["CHECKS"]


def _staircase(inputs: Mapping[str, Any]) -> dict[str, float]:
    """Find the two shares at which the advice changes, by bisection."""
    months = inputs["months"]

    def last_share(advices: set[Advice]) -> float:
        """Largest share, to 1e-12, for which the advice is one of these."""
        low, high = 0.0, 2.0
        while high - low > 1e-13:
            middle = (low + high) / 2.0
            if staircase([middle], months).advice in advices:
                low = middle
            else:
                high = middle
        return round(low, 12)

    by_share = [staircase([share], months).advice for share in inputs["shares"]]
    wanted = [Advice.EXTEND, Advice.EXTEND, Advice.KEEP, Advice.REDUCE]
    if by_share != wanted:
        return {"extend_at": math.nan, "reduce_above": math.nan}
    return {
        "extend_at": last_share({Advice.EXTEND}),
        "reduce_above": last_share({Advice.EXTEND, Advice.KEEP}),
    }


def _drift(inputs: Mapping[str, Any]) -> dict[str, float]:
    forecast = forecast_limit(
        inputs["months"], inputs["error_um"], inputs["MPE_um"], time_unit="months"
    )
    expected = forecast.expected_time
    return {
        "slope": forecast.slope,
        "intercept": forecast.intercept,
        "t_mpe": math.nan if expected is None else expected,
    }


CHECKS: dict[str, Callable[[Mapping[str, Any]], dict[str, float]]] = {
    "ilac-g24-staircase-rule": _staircase,
    "interval-drift-constructed": _drift,
}
