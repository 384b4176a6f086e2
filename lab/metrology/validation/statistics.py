"""Summary statistics, regression lines and the line with errors in both."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from lab.metrology.adjustment import (
    calibration_line,
    errors_in_both_line,
    summarise,
)

__all__ = ["CHECKS"]


def _univariate(inputs: Mapping[str, Any]) -> dict[str, float]:
    told = summarise(inputs["values"])
    return {
        "mean": told.mean,
        "sd": told.standard_deviation,
        "r1": told.lag1_autocorrelation,
    }


def _regression(inputs: Mapping[str, Any]) -> dict[str, float]:
    line = calibration_line(inputs["x"], inputs["y"])
    return {
        "b0": line.intercept,
        "b1": line.slope,
        "sd_b0": line.u_intercept,
        "sd_b1": line.u_slope,
        "s": line.standard_deviation,
    }


def _regression_through_origin(inputs: Mapping[str, Any]) -> dict[str, float]:
    line = calibration_line(inputs["x"], inputs["y"], through_origin=True)
    return {"b1": line.slope, "sd_b1": line.u_slope, "s": line.standard_deviation}


def _line_width(inputs: Mapping[str, Any]) -> dict[str, float]:
    line = calibration_line(inputs["x"], inputs["y"])
    control = inputs["control"]
    return {
        "a": line.intercept,
        "b": line.slope,
        "ua": line.u_intercept,
        "ub": line.u_slope,
        "s": line.standard_deviation,
        "W_L": line.x_for(control["reading"]) - control["reference"],
    }


def _errors_in_both(inputs: Mapping[str, Any]) -> dict[str, float]:
    line = errors_in_both_line(
        inputs["x"],
        inputs["y"],
        [weight**-0.5 for weight in inputs["wx"]],
        [weight**-0.5 for weight in inputs["wy"]],
    )
    return {
        "a": line.intercept,
        "b": line.slope,
        "sa": line.u_intercept,
        "sb": line.u_slope,
        "chi2": line.variance_factor,
    }


CHECKS: dict[str, Callable[[Mapping[str, Any]], dict[str, float]]] = {
    "strd-numacc1": _univariate,
    "strd-numacc2": _univariate,
    "strd-numacc3": _univariate,
    "strd-michelso": _univariate,
    "strd-lottery": _univariate,
    "strd-lew": _univariate,
    "strd-norris": _regression,
    "strd-noint1": _regression_through_origin,
    "strd-noint2": _regression_through_origin,
    "nist-linewidth-calibration": _line_width,
    "york-pearson-weighted": _errors_in_both,
}
