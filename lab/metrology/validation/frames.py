"""Target networks: an exact geometry, and the published reach of a test."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from typing import Any

import numpy as np

from lab.metrology.frames import make_exposures, solve_frame
from lab.metrology.frames.reliability import noncentrality

__all__ = ["CHECKS"]


def _tetrahedron(inputs: Mapping[str, Any]) -> dict[str, float]:
    exposures, targets, seen, covariances = [], [], [], []
    for number, (start, end, difference) in enumerate(inputs["differences"]):
        exposures += [str(number)] * 2
        targets += [start, end]
        seen += [[0.0, 0.0, 0.0], difference]
        # A difference of unit variance: half of it at either end.
        covariances += [0.5 * np.eye(3)] * 2
    count = len(inputs["differences"])
    frame = solve_frame(
        make_exposures(exposures, targets, seen, covariances_mm2=np.array(covariances)),
        held_mm=inputs["held"],
        orientations=np.tile(np.eye(3), (count, 1, 1)),
    )
    apex = frame.coordinates.of(["D"])
    return {
        "x": float(apex.points_mm[0, 0]),
        "y": float(apex.points_mm[0, 1]),
        "z": float(apex.points_mm[0, 2]),
        "variance": float(apex.covariance_mm2[0, 0]),
        "covariance": float(apex.covariance_mm2[0, 1]),
        "degrees_of_freedom": float(frame.degrees_of_freedom),
        "redundancy_of_a_difference": float(frame.reliability.redundancy[:2, 0].sum()),
    }


def _reach_of_a_test(inputs: Mapping[str, Any]) -> dict[str, float]:
    found = noncentrality(inputs["alpha"], inputs["power"], degrees=1)
    return {"lambda0": found, "delta0": math.sqrt(found)}


CHECKS: dict[str, Callable[[Mapping[str, Any]], Mapping[str, float]]] = {
    "frames-tetrahedron": _tetrahedron,
    "frames-baarda-reach": _reach_of_a_test,
}
