"""Statements of conformity and the risks of wrong ones."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Mapping
from decimal import Decimal
from typing import Any, cast

from lab.metrology.conformity import (
    Burden,
    ProcessPrior,
    Rule,
    RuleKind,
    Tolerance,
    Verdict,
    acceptance_limits,
    conformance,
    decide,
    global_risk,
)

__all__ = ["CHECKS"]

Inputs = Mapping[str, Any]


def _upper_only(upper: str) -> Tolerance:
    return Tolerance(None, Decimal(upper))


def _two_sided(inputs: Inputs) -> Tolerance:
    return Tolerance(Decimal(inputs["lower"]), Decimal(inputs["upper"]))


def _upper_limit(
    expanded_u: Decimal, coverage_factor: Decimal, tolerance: Tolerance, rule: Rule
) -> Decimal:
    limits = acceptance_limits(expanded_u, coverage_factor, tolerance, rule)
    return cast("Decimal", limits.upper)


def _risk_on_the_limit(inputs: Inputs, factor: str) -> float:
    tolerance = _upper_only(inputs["upper"])
    expanded_u = Decimal(inputs["expanded_u"])
    coverage_factor = Decimal(inputs["coverage_factor"])
    rule = Rule(RuleKind.GUARDED, guard_factor=Decimal(factor))
    limit = _upper_limit(expanded_u, coverage_factor, tolerance, rule)
    decision = decide(limit, expanded_u, coverage_factor, tolerance, rule)
    return 1.0 if decision.specific_risk is None else decision.specific_risk


def _false_accept(inputs: Inputs) -> dict[str, float]:
    return {
        name: _risk_on_the_limit(inputs, factor)
        for name, factor in inputs["guard_factors"].items()
    }


def _zones(inputs: Inputs) -> dict[str, float]:
    rule = Rule(
        RuleKind.GUARDED_CONDITIONAL, guard_factor=Decimal(inputs["guard_factor"])
    )
    verdicts = Counter(
        decide(
            Decimal(result),
            Decimal(inputs["expanded_u"]),
            Decimal(inputs["coverage_factor"]),
            _upper_only(inputs["upper"]),
            rule,
        ).verdict
        for result in inputs["results"]
    )
    return {
        "n_pass": float(verdicts[Verdict.PASS]),
        "n_cond_pass": float(verdicts[Verdict.CONDITIONAL_PASS]),
        "n_cond_fail": float(verdicts[Verdict.CONDITIONAL_FAIL]),
        "n_fail": float(verdicts[Verdict.FAIL]),
    }


def _guard_of_probability(inputs: Inputs) -> dict[str, float]:
    rule = Rule(
        RuleKind.ISO_14253_1,
        probability=Decimal(inputs["p"]),
        burden=Burden.CONFORMITY,
    )
    tolerance = _upper_only(inputs["upper"])
    expanded_u = Decimal(inputs["expanded_u"])
    coverage_factor = Decimal(inputs["coverage_factor"])
    limit = _upper_limit(expanded_u, coverage_factor, tolerance, rule)
    guard_band = Decimal(inputs["upper"]) - limit
    risk = _risk_on_the_limit(inputs, inputs["rounded_guard_factor"])
    return {
        "z": float(guard_band / (expanded_u / coverage_factor)),
        "w_over_U": float(guard_band / expanded_u),
        "pc_at_limit": 1.0 - risk,
    }


def _z_of_probability(inputs: Inputs) -> dict[str, float]:
    values = {}
    for name, probability in inputs["pc"].items():
        rule = Rule(RuleKind.PROBABILITY, probability=Decimal(probability))
        limit = _upper_limit(Decimal(1), Decimal(1), _upper_only("0"), rule)
        values[name] = -float(limit)
    return values


def _zener(inputs: Inputs) -> dict[str, float]:
    tolerance = _upper_only(inputs["upper"])
    chance = conformance(inputs["y"], inputs["u"], tolerance)
    return {
        "z": (float(inputs["upper"]) - inputs["y"]) / inputs["u"],
        "pc": chance.inside,
    }


def _oil(inputs: Inputs) -> dict[str, float]:
    return {"pc": conformance(inputs["y"], inputs["u"], _two_sided(inputs)).inside}


def _resistors(inputs: Inputs) -> dict[str, float]:
    tolerance = _two_sided(inputs)
    prior = ProcessPrior(inputs["process_mean"], inputs["u0"])
    values = {}
    for name, factor in (("w0", Decimal(0)), ("wU", Decimal(1))):
        limits = acceptance_limits(
            2.0 * inputs["um"], 2, tolerance, Rule(RuleKind.GUARDED, factor)
        )
        risk = global_risk(tolerance, limits, inputs["um"], prior)
        values[f"Rc_{name}"] = risk.consumer
        values[f"Rp_{name}"] = risk.producer
        values["nonconforming"] = risk.nonconforming
    return values


CHECKS: dict[str, Callable[[Mapping[str, Any]], dict[str, float]]] = {
    "ilac-g8-pfa-table": _false_accept,
    "ilac-g8-nonbinary": _zones,
    "iso14253-1-default": _guard_of_probability,
    "jcgm106-table1": _z_of_probability,
    "jcgm106-zener": _zener,
    "jcgm106-oil": _oil,
    "jcgm106-resistor": _resistors,
}
