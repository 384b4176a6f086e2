"""Lengths at 20 °C, expansion coefficients and soaking."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from lab.metrology.soak import (
    Body,
    Room,
    SoakNeed,
    TimeConstant,
    soak_time,
    time_constant,
)
from lab.metrology.thermal import (
    REFERENCE_DEGC,
    Expansion,
    MeanCoefficient,
    Temperature,
    coefficient_spread,
    coefficients_over,
    length_at_reference,
    material,
)

__all__ = ["CHECKS"]


def _defaults(inputs: Mapping[str, Any]) -> dict[str, float]:
    return {
        name: material(line).expansion.per_k / inputs["unit_per_k"]
        for name, line in inputs["materials"].items()
    }


def _defaults_and_reference(inputs: Mapping[str, Any]) -> dict[str, float]:
    return _defaults(inputs) | {"reference_temperature_C": REFERENCE_DEGC}


def _ranges(inputs: Mapping[str, Any]) -> dict[str, float]:
    unit = inputs["unit_per_k"]
    records = [
        MeanCoefficient(
            row["coefficient"] * unit,
            row["low_degc"],
            row["high_degc"],
            f"reference {row['reference']}",
        )
        for row in inputs["table"]
    ]
    (narrow,) = coefficients_over(records, 20.0, 100.0)
    (from_zero,) = coefficients_over(records, 0.0, 100.0)
    return {
        "ref2_20_100": narrow.per_k / unit,
        "ref3_0_100": from_zero.per_k / unit,
        "spread": coefficient_spread(records).spread_per_k / unit,
    }


def _corrections(inputs: Mapping[str, Any]) -> dict[str, float]:
    found = {}
    for number in (1, 2, 3):
        case = inputs[f"case{number}"]
        length = length_at_reference(
            case["length_mm"],
            Expansion(case["expansion_per_k"], 0.0),
            Temperature(case["temperature_degc"], 0.0),
        )
        found[f"d{number}_um"] = -length.correction_mm * 1000.0
        last_mm = length.length_mm
    return found | {"L20_case3": last_mm}


def _cooling(inputs: Mapping[str, Any]) -> dict[str, float]:
    edge_m, (still, moving) = inputs["cube_edge_m"], inputs["film_w_per_m2_k"]
    found = {}
    for name, key in (("steel", "steel"), ("aluminium", "al")):
        body = Body(
            mass_kg=inputs[name]["density_kg_per_m3"] * edge_m**3,
            surface_m2=6.0 * edge_m**2,
            **inputs[name],
        )
        constant = time_constant(body, (still, moving))
        found[f"tau_{key}_h5_h"] = constant.longest_s / 3600.0
        found[f"tau_{key}_h10_h"] = constant.shortest_s / 3600.0
    return found | {"n_tau_to_1pct": _constants_until(body, inputs["remaining_share"])}


def _constants_until(body: Body, share: float) -> float:
    """Wait until a share of the difference is left, counted in time constants.

    A need that nothing but the distance from 20 °C touches: 1 m of an unknown
    coefficient of 1e-6 per kelvin, and 10 K to lose.
    """
    start_k, u_per_k, length_mm, tau_s = 10.0, 1e-6, 1000.0, 36_000.0
    need = SoakNeed(
        length_mm, length_mm * u_per_k * start_k * share, Expansion(0.0, u_per_k), 0.0
    )
    wait = soak_time(
        body,
        TimeConstant(tau_s, tau_s, "as given"),
        Room(REFERENCE_DEGC),
        REFERENCE_DEGC + start_k,
        need,
    )
    return wait.longest_s / tau_s


CHECKS: dict[str, Callable[[Mapping[str, Any]], dict[str, float]]] = {
    "cte-nist-swyt": _defaults_and_reference,
    "cte-handbook-list": _defaults,
    "cte-nist-aisi1050": _ranges,
    "thermal-correction": _corrections,
    "newton-cooling": _cooling,
}
