"""Control charts, their constants and the run rules."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from lab.metrology.charts import (
    Baseline,
    Signal,
    chart_constants,
    counts_chart,
    ewma_chart,
    individuals_chart,
    mean_range_chart,
    nelson,
    proportions_chart,
    western_electric,
)

__all__ = ["CHECKS"]

_Rules = Callable[[Any], tuple[Signal, ...]]


def _individuals(inputs: Mapping[str, Any]) -> dict[str, float]:
    chart = individuals_chart(inputs["x"], d2=inputs["d2"], upper_d4=inputs["D4"])
    return {
        "mean": chart.baseline.centre,
        "mr_bar": chart.mean_range,
        "ucl": chart.upper,
        "lcl": chart.lower,
        "ucl_mr": chart.upper_range,
    }


def _ewma(inputs: Mapping[str, Any]) -> dict[str, float]:
    chart = ewma_chart(
        inputs["x"],
        Baseline(inputs["target"], inputs["s"], count=0),
        weight=inputs["lam"],
        width=inputs["L"],
    )
    return {
        "z1": float(chart.averages[0]),
        "z2": float(chart.averages[1]),
        "ucl1_exact": float(chart.upper[0]),
    }


def _constants(inputs: Mapping[str, Any]) -> dict[str, float]:
    found: dict[str, float] = {}
    for n in inputs["n"]:
        constants = chart_constants(n)
        found |= {
            f"d2_{n}": constants.d2,
            f"d3_{n}": constants.d3,
            f"c4_{n}": constants.c4,
            f"A2_{n}": constants.a2,
            f"A3_{n}": constants.a3,
            f"D3_{n}": constants.upper_d3,
            f"D4_{n}": constants.upper_d4,
            f"B3_{n}": constants.b3,
            f"B4_{n}": constants.b4,
        }
    return found


def _mean_range(inputs: Mapping[str, Any]) -> dict[str, float]:
    chart = mean_range_chart(inputs["subgroups_mm"])
    return {
        "xbarbar": chart.grand_mean,
        "rbar": chart.mean_range,
        "ucl": chart.upper,
        "lcl": chart.lower,
        "ucl_r": chart.upper_range,
    }


def _counts(inputs: Mapping[str, Any]) -> dict[str, float]:
    chart = counts_chart(inputs["c"])
    return {"cbar": chart.mean_count, "ucl": chart.upper, "lcl": chart.lower}


def _proportions(inputs: Mapping[str, Any]) -> dict[str, float]:
    counts = inputs["counts"]
    chart = proportions_chart(counts, [inputs["n"]] * len(counts))
    return {
        "pbar": chart.mean_proportion,
        "ucl": float(chart.upper[0]),
        "lcl": float(chart.lower[0]),
    }


def _fires_its_own_rule_only(
    sequences: Mapping[str, Any], rules: _Rules
) -> dict[str, float]:
    found = {}
    for name, sequence in sequences.items():
        fired = {signal.rule for signal in rules(sequence)}
        found[name] = float(fired == {int(name.removeprefix("r"))})
    return found


def _western_electric(inputs: Mapping[str, Any]) -> dict[str, float]:
    sequences = {name: inputs[name] for name in ("r1", "r2", "r3", "r4")}
    return _fires_its_own_rule_only(sequences, western_electric)


def _nelson(inputs: Mapping[str, Any]) -> dict[str, float]:
    return _fires_its_own_rule_only(inputs["sequences"], nelson)


CHECKS: dict[str, Callable[[Mapping[str, Any]], dict[str, float]]] = {
    "nist-imr": _individuals,
    "nist-ewma-start": _ewma,
    "control-constants-2-8": _constants,
    "control-constants-9-15": _constants,
    "montgomery-piston-xbar-r": _mean_range,
    "nist-c-chart": _counts,
    "we-rules": _western_electric,
    "nelson-rules": _nelson,
    "nist-p-chart": _proportions,
}
