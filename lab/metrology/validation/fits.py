"""Fitted features: published circles, and reference pairs known by construction."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from typing import Any

from lab.metrology.fits import (
    fit_circle_2d,
    fit_circle_3d,
    fit_circle_algebraic,
    fit_cylinder,
    fit_line_3d,
    fit_plane,
    fit_sphere,
)

__all__ = ["CHECKS"]


def _numbered(name: str, values: Any) -> dict[str, float]:
    return {f"{name}{index}": float(value) for index, value in enumerate(values)}


def _gander(inputs: Mapping[str, Any]) -> dict[str, float]:
    circle = fit_circle_2d(inputs["points"])
    return {
        "x": float(circle.centre_mm[0]),
        "y": float(circle.centre_mm[1]),
        "r": circle.radius_mm,
        "rms": circle.form.rms_mm,
        "range": circle.form.range_mm,
    }


def _short_arc(inputs: Mapping[str, Any]) -> dict[str, float]:
    points = inputs["points"]
    # Four points on five degrees of arc: no lab would state this radius, and the
    # default would refuse it.
    geometric = fit_circle_2d(points, largest_relative_u_radius=math.inf)
    taubin = fit_circle_algebraic(points, "taubin")
    return {
        "taubin_y": float(taubin.centre_mm[1]),
        "taubin_r": taubin.radius_mm,
        "pratt_r": fit_circle_algebraic(points, "pratt").radius_mm,
        "kasa_r": fit_circle_algebraic(points, "kasa").radius_mm,
        "geo_r": geometric.radius_mm,
        "geo_rms": geometric.form.rms_mm,
    }


def _sphere(inputs: Mapping[str, Any]) -> dict[str, float]:
    sphere = fit_sphere(inputs["points"])
    return {
        **_numbered("centre", sphere.centre_mm),
        "radius": sphere.radius_mm,
        "rms": sphere.form.rms_mm,
        "form_range": sphere.form.range_mm,
    }


def _circle_2d(inputs: Mapping[str, Any]) -> dict[str, float]:
    circle = fit_circle_2d(inputs["points"])
    return {
        **_numbered("centre", circle.centre_mm),
        "radius": circle.radius_mm,
        "rms": circle.form.rms_mm,
        "form_range": circle.form.range_mm,
    }


def _circle_3d(inputs: Mapping[str, Any]) -> dict[str, float]:
    circle = fit_circle_3d(inputs["points"])
    return {
        **_numbered("centre", circle.centre_mm),
        **_numbered("normal", circle.normal),
        "radius": circle.radius_mm,
    }


def _plane(inputs: Mapping[str, Any]) -> dict[str, float]:
    plane = fit_plane(inputs["points"])
    return {
        **_numbered("normal", plane.normal),
        "rms": plane.form.rms_mm,
        "flatness_range": plane.form.range_mm,
    }


def _line_3d(inputs: Mapping[str, Any]) -> dict[str, float]:
    line = fit_line_3d(inputs["points"])
    return {
        **_numbered("direction", line.direction),
        **_numbered("centroid", line.point_mm),
        "rms": line.form.rms_mm,
    }


def _cylinder(inputs: Mapping[str, Any]) -> dict[str, float]:
    cylinder = fit_cylinder(inputs["points"])
    return {
        **_numbered("direction", cylinder.direction),
        "radius": cylinder.radius_mm,
        "rms": cylinder.form.rms_mm,
        "form_range": cylinder.form.range_mm,
    }


CHECKS: dict[str, Callable[[Mapping[str, Any]], dict[str, float]]] = {
    "gander-circle-geometric": _gander,
    "pratt-short-arc": _short_arc,
    "ns-sphere-a1": _sphere,
    "ns-circle2d-a1": _circle_2d,
    "ns-circle2d-a2": _circle_2d,
    "ns-plane-a1": _plane,
    "ns-line3d-a1": _line_3d,
    "ns-line3d-a2": _line_3d,
    "ns-circle3d-a1": _circle_3d,
    "ns-cylinder-a1": _cylinder,
}
"""Check id to runner."""
