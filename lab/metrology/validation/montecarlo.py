"""Propagation of distributions by Monte Carlo."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from lab.metrology.uncertainty import (
    Arcsine,
    Budget,
    CurvilinearTrapezoid,
    Input,
    MonteCarlo,
    Normal,
    Rectangular,
    StudentT,
    combine,
    expand,
    propagate,
)

__all__ = ["CHECKS"]

Inputs = Mapping[str, Any]


def _curvilinear(inputs: Inputs) -> dict[str, float]:
    return {
        f"u_{name}": CurvilinearTrapezoid(*inputs[name]).standard_uncertainty
        for name in ("dalpha", "dtheta")
    }


def _gauge_block(inputs: Inputs) -> Budget:
    """Set up the budget of JCGM 101, 9.5, in nanometres."""
    readings = [
        Input(name, inputs[name][0], StudentT(inputs[name][1], inputs[name][2]))
        for name in ("Ls", "D", "d1", "d2")
    ]
    low, high = inputs["alphaS"]
    return Budget(
        "dL",
        [
            *readings,
            Input("alphaS", (low + high) / 2.0, Rectangular((high - low) / 2.0)),
            Input("theta0", inputs["theta0"][0], Normal(inputs["theta0"][1])),
            Input("Delta", 0.0, Arcsine(inputs["Delta"])),
            Input("dalpha", 0.0, CurvilinearTrapezoid(*inputs["dalpha"])),
            Input("dtheta", 0.0, CurvilinearTrapezoid(*inputs["dtheta"])),
        ],
        model=lambda x: (
            x["Ls"]
            + x["D"]
            + x["d1"]
            + x["d2"]
            - x["Ls"]
            * (x["dalpha"] * (x["theta0"] + x["Delta"]) + x["alphaS"] * x["dtheta"])
            - inputs["nominal_nm"]
        ),
        unit="nm",
    )


def _drawn(budget: Budget, inputs: Inputs, probability: float) -> MonteCarlo:
    return propagate(budget, probability, seed=inputs["seed"], trials=inputs["trials"])


def _gauge_block_u(inputs: Inputs) -> dict[str, float]:
    budget = _gauge_block(inputs)
    drawn = _drawn(budget, inputs, 0.95)
    return {
        "mean_nm": drawn.estimate,
        "u_mcm_nm": drawn.u,
        "u_guf_nm": combine(budget).u,
    }


def _gauge_block_interval(inputs: Inputs) -> dict[str, float]:
    drawn = _drawn(_gauge_block(inputs), inputs, inputs["p"])
    return {"lo_nm": drawn.symmetric_low, "hi_nm": drawn.symmetric_high}


def _sum_of_normals(inputs: Inputs) -> dict[str, float]:
    terms = [
        Input(f"X{number}", 0.0, Normal(inputs["sigma"]), sensitivity=1.0)
        for number in range(inputs["inputs"])
    ]
    expanded = expand(combine(Budget("Y", terms, estimate=0.0)), inputs["p"])
    return {"u": expanded.u, "half95": expanded.expanded_u}


def _mass(inputs: Inputs) -> dict[str, float]:
    """Draw and combine the budget of JCGM 101, 9.3, in milligrams."""
    normals = [
        Input(name, inputs[name][0], Normal(inputs[name][1]))
        for name in ("mRc", "dmRc")
    ]
    densities = [
        Input(
            name,
            (inputs[name][0] + inputs[name][1]) / 2.0,
            Rectangular((inputs[name][1] - inputs[name][0]) / 2.0),
        )
        for name in ("rho_a", "rho_W", "rho_R")
    ]
    budget = Budget(
        "dm",
        [*normals, *densities],
        model=lambda x: (
            (x["mRc"] + x["dmRc"])
            * (
                1.0
                + (x["rho_a"] - inputs["a0"]) * (1.0 / x["rho_W"] - 1.0 / x["rho_R"])
            )
            - inputs["nominal_mg"]
        ),
        unit="mg",
    )
    drawn = _drawn(budget, inputs, inputs["p"])
    return {
        "mean": drawn.estimate,
        "u": drawn.u,
        "u_guf1": combine(budget).u,
        "lo": drawn.low,
        "hi": drawn.high,
    }


CHECKS: dict[str, Callable[[Mapping[str, Any]], dict[str, float]]] = {
    "jcgm101-ctrap": _curvilinear,
    "jcgm101-95-gauge-block": _gauge_block_u,
    "jcgm101-95-interval": _gauge_block_interval,
    "jcgm101-922": _sum_of_normals,
    "jcgm101-93-mass": _mass,
}
