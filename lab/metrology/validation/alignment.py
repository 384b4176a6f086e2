"""Alignment: published similarities, and reference pairs known by construction."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from typing import Any

from lab.metrology.alignment import (
    Alignment,
    fit_rigid,
    fit_similarity,
    transform_from_parameters,
)

__all__ = ["CHECKS"]

_ARCSECOND_RAD = math.pi / (180.0 * 3600.0)


def _rotation(found: Alignment, rows: int) -> dict[str, float]:
    return {
        f"R{row}{column}": float(found.tf_a_b.rotation_a_b[row, column])
        for row in range(rows)
        for column in range(rows)
    }


def _umeyama(inputs: Mapping[str, Any]) -> dict[str, float]:
    found = fit_similarity(inputs["target"], inputs["source"])
    rotation = _rotation(found, 2)
    return {
        **{name: rotation[name] for name in ("R00", "R01", "R10")},
        "c": found.tf_a_b.scale,
        "t0": float(found.tf_a_b.translation_a_b[0]),
        "t1": float(found.tf_a_b.translation_a_b[1]),
        # The residual of a point has two coordinates; its rms is over points.
        "rms_all_coordinates": found.rms_mm / math.sqrt(2.0),
        "mean_sq": found.rms_mm**2,
    }


def _helmert(inputs: Mapping[str, Any]) -> dict[str, float]:
    transform = transform_from_parameters(
        inputs["t"],
        [0.0, 0.0, inputs["rz_arcsec"] * _ARCSECOND_RAD],
        1.0 + 1e-6 * inputs["scale_ppm"],
    )
    x, y, z = transform.apply([inputs["X"]])[0]
    return {"x": float(x), "y": float(y), "z": float(z)}


def _rigid(inputs: Mapping[str, Any]) -> dict[str, float]:
    found = fit_rigid(inputs["target"], inputs["source"])
    shift = found.tf_a_b.translation_a_b
    return {
        **_rotation(found, 3),
        **{f"t{axis}": float(shift[axis]) for axis in range(3)},
        "scale": found.tf_a_b.scale,
        "rms": found.rms_mm,
    }


def _mikhail(inputs: Mapping[str, Any]) -> dict[str, float]:
    transform = fit_similarity(inputs["y"], inputs["x"], about_origin=True).tf_a_b
    linear = transform.matrix()
    return {"a": float(linear[0, 0]), "b": float(linear[1, 0])}


CHECKS: dict[str, Callable[[Mapping[str, Any]], dict[str, float]]] = {
    "umeyama-2d": _umeyama,
    "helmert-apply": _helmert,
    "ns-rigid3d-a1": _rigid,
    "ns-rigid3d-a2": _rigid,
    "mikhail-2d-similarity": _mikhail,
}
"""Check id to runner."""
