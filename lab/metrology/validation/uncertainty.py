"""Uncertainty budgets and coverage factors."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from typing import Any

import numpy as np

from lab.metrology.adjustment import calibration_line
from lab.metrology.uncertainty import (
    Arcsine,
    Budget,
    Combination,
    CoverageMethod,
    Distribution,
    Input,
    Normal,
    Rectangular,
    Triangular,
    combine,
    correlation_between,
    degrees_of_freedom_from_reliability,
    dominance,
    expand,
    relative_uncertainty_of_s,
    simultaneous_readings,
    student_coverage_factor,
    trapezoid_coverage_factor,
    truncated_dof,
)

__all__ = ["CHECKS"]

Inputs = Mapping[str, Any]


def _linear(name: str, u: float, dof: float) -> Input:
    return Input(name, 0.0, Normal(u), degrees_of_freedom=dof, sensitivity=1.0)


def _difference(parts_u: list[float], parts_dof: list[float]) -> Combination:
    parts = [
        _linear(f"part {number}", u, dof)
        for number, (u, dof) in enumerate(zip(parts_u, parts_dof, strict=True))
    ]
    return combine(Budget("d", parts, estimate=0.0))


def _end_gauge(inputs: Inputs) -> Combination:
    """Combine the budget of JCGM 100, H.1, in nanometres."""
    gauge, change = inputs["lS"], inputs["d"]
    difference = _difference(change["parts_u_nm"], change["parts_dof"])
    room = inputs["theta"]
    temperature = combine(
        Budget(
            "theta",
            [
                Input("mean", 0.0, Normal(room["u_k"]), sensitivity=1.0),
                Input(
                    "cycle", 0.0, Arcsine(room["arcsine_half_width_k"]), sensitivity=1.0
                ),
            ],
            estimate=room["estimate_k"],
        )
    )
    standard = Normal.from_expanded(gauge["expanded_u_nm"], gauge["coverage_factor"])
    return combine(
        Budget(
            "l",
            [
                Input("lS", gauge["estimate_nm"], standard, gauge["dof"]),
                Input(
                    "d",
                    change["estimate_nm"],
                    Normal(difference.u),
                    difference.effective_dof,
                ),
                Input(
                    "dalpha",
                    0.0,
                    Rectangular(inputs["dalpha"]["half_width_per_k"]),
                    inputs["dalpha"]["dof"],
                ),
                Input(
                    "dtheta",
                    0.0,
                    Rectangular(inputs["dtheta"]["half_width_k"]),
                    inputs["dtheta"]["dof"],
                ),
                Input(
                    "alphaS",
                    inputs["alphaS"]["estimate_per_k"],
                    Rectangular(inputs["alphaS"]["half_width_per_k"]),
                ),
                Input("theta", temperature.estimate, Normal(temperature.u)),
            ],
            model=lambda x: (
                x["lS"]
                + x["d"]
                - x["lS"] * (x["dalpha"] * x["theta"] + x["alphaS"] * x["dtheta"])
            ),
            unit="nm",
        )
    )


def _h1_budget(inputs: Inputs) -> dict[str, float]:
    found = _end_gauge(inputs)
    shares = {each.name: abs(each.contribution) for each in found.contributions}
    return {
        "l_mm": found.estimate * 1e-6,
        "u_d_nm": found.named("d").u,
        "uc_nm": found.u,
        **{
            f"c_{name}_nm": shares[name]
            for name in ("lS", "dalpha", "dtheta", "alphaS", "theta")
        },
    }


def _h1_expanded(inputs: Inputs) -> dict[str, float]:
    found = _end_gauge(inputs)
    expanded = expand(found, inputs["p"], method=CoverageMethod.STUDENT)
    return {
        "nu_eff": found.effective_dof,
        "nu_eff_truncated": truncated_dof(found.effective_dof),
        "k": expanded.coverage_factor,
        "U99_nm": expanded.expanded_u,
    }


def _h1_difference(inputs: Inputs) -> dict[str, float]:
    found = _difference(inputs["u_nm"], inputs["dof"])
    return {"u_d_nm": found.u, "nu_d": found.effective_dof}


def _impedance(inputs: Inputs, *, correlated: bool) -> dict[str, Combination]:
    """Combine resistance, reactance and impedance of JCGM 100, H.2."""
    read = simultaneous_readings(
        {"V": inputs["V"], "I": inputs["I_A"], "phi": inputs["phi_rad"]}
    )
    correlation = read.correlation if correlated else None
    models = {
        "R": lambda x: x["V"] / x["I"] * np.cos(x["phi"]),
        "X": lambda x: x["V"] / x["I"] * np.sin(x["phi"]),
        "Z": lambda x: x["V"] / x["I"],
    }
    return {
        name: combine(Budget(name, read.inputs, model=model, correlation=correlation))
        for name, model in models.items()
    }


def _h2(inputs: Inputs) -> dict[str, float]:
    found = _impedance(inputs, correlated=True)
    values = {name: each.estimate for name, each in found.items()}
    values |= {f"u{name}": each.u for name, each in found.items()}
    for first, second in ("RX", "RZ", "XZ"):
        values[f"r{first}{second}"] = correlation_between(found[first], found[second])
    return values


def _h2_uncorrelated(inputs: Inputs) -> dict[str, float]:
    found = _impedance(inputs, correlated=False)
    return {f"u{name}": each.u for name, each in found.items()}


def _h3(inputs: Inputs) -> dict[str, float]:
    offsets = [temperature - inputs["t0"] for temperature in inputs["t"]]
    line = calibration_line(offsets, inputs["b"])
    return {
        "y1": line.intercept,
        "u1": line.u_intercept,
        "y2": line.slope,
        "u2": line.u_slope,
        "r": line.correlation,
        "s": line.standard_deviation,
    }


def _g3(inputs: Inputs) -> dict[str, float]:
    return {
        f"nu_{100 * reliability:.0f}": degrees_of_freedom_from_reliability(reliability)
        for reliability in inputs["rel"]
    }


def _table_g2(inputs: Inputs) -> dict[str, float]:
    values = {}
    for probability, freedoms in inputs["dof"].items():
        share = float(probability)
        head = f"t{100 * share:.0f}"
        for dof in freedoms:
            values[f"{head}_{dof}"] = student_coverage_factor(share, dof)
        values[f"{head}_inf"] = student_coverage_factor(share, math.inf)
    return values


def _table_e1(inputs: Inputs) -> dict[str, float]:
    return {f"n{n}": 100.0 * relative_uncertainty_of_s(n) for n in inputs["n"]}


def _divisors(inputs: Inputs) -> dict[str, float]:
    values = {
        name: Rectangular(inputs[name]).standard_uncertainty
        for name in ("rect_05", "rect_1e6", "rect_2e6")
    }
    cycle = Input("cycle", 0.0, Arcsine(inputs["arcsine"]), sensitivity=1.0)
    mean = Input("mean", 0.0, Normal(inputs["theta_u"]), sensitivity=1.0)
    values["arcsine_05"] = cycle.u
    values["theta"] = combine(Budget("theta", [mean, cycle], estimate=0.0)).u
    values["tri_1"] = Triangular(inputs["tri_1"]).standard_uncertainty
    return values


def _caliper(inputs: Inputs) -> dict[str, float]:
    """Combine the budget of EA-4/02, S10, in micrometres."""
    per_k = inputs["alpha_per_k"] * inputs["lS_mm"] * 1000.0
    half_widths = {
        "lS": (inputs["lS_half_width_um"], -1.0),
        "dt": (inputs["dt_half_width_k"], per_k),
        "res": (inputs["resolution_half_width_um"], 1.0),
        "mech": (inputs["mechanical_half_width_um"], 1.0),
    }
    found = combine(
        Budget(
            "error of indication",
            [
                Input(name, 0.0, Rectangular(width), sensitivity=slope)
                for name, (width, slope) in half_widths.items()
            ],
            estimate=1000.0 * (inputs["lIX_mm"] - inputs["lS_mm"]),
            unit="µm",
        )
    )
    expanded = expand(found, inputs["p"], method=CoverageMethod.TRAPEZOID)
    return {
        "E_mm": found.estimate / 1000.0,
        "uc": found.u,
        "beta": dominance(found).top_share,
        "k": expanded.coverage_factor,
        "U_mm": expanded.expanded_u / 1000.0,
        **{f"c_{name}": abs(found.named(name).contribution) for name in half_widths},
    }


def _trapezoid_k(inputs: Inputs) -> dict[str, float]:
    return {
        name: trapezoid_coverage_factor(inputs["p"], beta)
        for name, beta in inputs["beta"].items()
    }


def _weight(inputs: Inputs) -> dict[str, float]:
    """Combine the budget of EA-4/02, S2, in milligrams."""
    mean_u = inputs["pooled_s_mg"] / math.sqrt(inputs["n"])
    standard = Normal.from_expanded(
        inputs["mS_expanded_u_mg"], inputs["mS_coverage_factor"]
    )
    terms: dict[str, Distribution] = {
        "standard": standard,
        "drift": Rectangular(inputs["drift_mg"]),
        "difference": Normal(mean_u),
        "eccentricity": Rectangular(inputs["eccentricity_mg"]),
        "buoyancy": Rectangular(inputs["buoyancy_mg"]),
    }
    found = combine(
        Budget(
            "mass",
            [Input(name, 0.0, term, sensitivity=1.0) for name, term in terms.items()],
            estimate=1000.0 * (inputs["mS_g"] + inputs["dm_g"]),
            unit="mg",
        )
    )
    expanded = expand(found, coverage_factor=2.0)
    return {
        "mX_g": found.estimate / 1000.0,
        "uc_mg": found.u,
        "U_mg": expanded.expanded_u,
    }


def _rectangle_k(inputs: Inputs) -> dict[str, float]:
    term = Input(
        "resolution", 0.0, Rectangular(inputs["u"] * math.sqrt(3.0)), sensitivity=1.0
    )
    found = combine(Budget("indication", [term], estimate=0.0))
    expanded = expand(found, inputs["p"], method=CoverageMethod.TRAPEZOID)
    return {"k": expanded.coverage_factor, "U": expanded.expanded_u}


CHECKS: dict[str, Callable[[Mapping[str, Any]], dict[str, float]]] = {
    "gum-h1-budget": _h1_budget,
    "gum-h1-expanded": _h1_expanded,
    "gum-h1-ud-dof": _h1_difference,
    "gum-h2": _h2,
    "gum-h2-no-corr": _h2_uncorrelated,
    "gum-h3-line": _h3,
    "gum-g3-dof-typeB": _g3,
    "gum-table-g2-95-99": _table_g2,
    "gum-table-e1": _table_e1,
    "gum-divisors": _divisors,
    "ea402-s10-caliper": _caliper,
    "ea402-trapezoid-k": _trapezoid_k,
    "ea402-s2-weight": _weight,
    "ea402-s9-rect-k": _rectangle_k,
}
