"""Level networks and points from distances."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from lab.metrology.adjustment import (
    HeightDifference,
    level_network,
    trilaterate,
)

__all__ = ["CHECKS"]


def _mikhail_levels(inputs: Mapping[str, Any]) -> dict[str, float]:
    network = level_network(
        [
            HeightDifference(start, to, difference, weight=1.0 / (0.1 * length))
            for start, to, difference, length in inputs["observations"]
        ],
        {"A": inputs["H_A"]},
    )
    redundancy = network.adjustment.redundancy
    return {
        **network.heights,
        **{f"sd{name}": u for name, u in network.u_heights.items()},
        "s0sq": network.adjustment.variance_factor,
        "redundancy_sum": float(redundancy.sum()),
        "r1": float(redundancy[0]),
    }


def _mikhail_trilateration(inputs: Mapping[str, Any]) -> dict[str, float]:
    found = trilaterate(inputs["known"], inputs["distances"], inputs["start"])
    (x, y), (u_x, u_y) = found.position, found.adjustment.u_parameters
    return {
        "x": x,
        "y": y,
        "s0sq": found.adjustment.variance_factor,
        "sdx": u_x,
        "sdy": u_y,
        "one_step_x": found.iterates[1][0],
        "one_step_y": found.iterates[1][1],
    }


def _space_trilateration(inputs: Mapping[str, Any]) -> dict[str, float]:
    values: dict[str, float] = {}
    for number, distances in enumerate(inputs["distances"]):
        found = trilaterate(inputs["stations"], distances, inputs["start"])
        for axis, coordinate in zip("xyz", found.position, strict=True):
            values[f"T{number}_{axis}"] = coordinate
        values[f"T{number}_s0"] = found.adjustment.standard_deviation
    return values


def _ghilani(inputs: Mapping[str, Any], *, weighted: bool) -> dict[str, float]:
    network = level_network(
        [
            HeightDifference(start, to, rise, 12.0 / miles if weighted else 1.0)
            for start, to, rise, miles in inputs["obs"]
        ],
        inputs["benchmarks"],
    )
    return {**network.heights, "s0": network.adjustment.standard_deviation}


CHECKS: dict[str, Callable[[Mapping[str, Any]], dict[str, float]]] = {
    "ns-trilateration3d-a1": _space_trilateration,
    "mikhail-level-net": _mikhail_levels,
    "mikhail-trilateration": _mikhail_trilateration,
    "ghilani-level-weighted": lambda inputs: _ghilani(inputs, weighted=True),
    "ghilani-level-unweighted": lambda inputs: _ghilani(inputs, weighted=False),
}
