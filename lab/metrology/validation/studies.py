"""Capability, agreement of results, and tests for outliers."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from lab.metrology.studies import (
    Side,
    capability,
    en_score,
    grubbs,
    grubbs_critical,
    tietjen_moore,
    type_one_study,
)

__all__ = ["CHECKS"]


def _capability(inputs: Mapping[str, Any]) -> dict[str, float]:
    found = capability(
        inputs["mean"],
        inputs["s"],
        lower=inputs["LSL"],
        upper=inputs["USL"],
        target=inputs["target"],
    )
    indices = {
        "Cp": found.cp,
        "Cpk": found.cpk,
        "Cpu": found.cp_upper,
        "Cpl": found.cp_lower,
        "k": found.off_centre,
        "Cpm": found.cpm,
    }
    return {name: value for name, value in indices.items() if value is not None}


def _en(inputs: Mapping[str, Any]) -> dict[str, float]:
    return {
        f"e{number}": en_score(**case).score
        for number, case in enumerate(inputs["cases"], 1)
    }


def _grubbs(inputs: Mapping[str, Any]) -> dict[str, float]:
    one_sided = grubbs(inputs["x"], inputs["alpha"], Side.LARGEST)
    either = grubbs(inputs["x"], inputs["alpha"], Side.EITHER)
    return {
        "G": one_sided.statistic,
        "crit_upper_one_sided": one_sided.critical,
        "crit_two_sided": either.critical,
    }


def _grubbs_table(inputs: Mapping[str, Any]) -> dict[str, float]:
    return {
        f"n{count}": grubbs_critical(count, inputs["alpha"], Side.LARGEST)
        for count in range(3, 21)
    }


def _tietjen_moore(inputs: Mapping[str, Any]) -> dict[str, float]:
    return {"Ek": tietjen_moore(inputs["x"], inputs["k"]).statistic}


def _type_one(inputs: Mapping[str, Any]) -> dict[str, float]:
    study = type_one_study(inputs["x"], inputs["ref"], inputs["T"])
    return {"Cg": study.cg, "Cgk": study.cgk}


CHECKS: dict[str, Callable[[Mapping[str, Any]], dict[str, float]]] = {
    "nist-capability": _capability,
    "en-definition": _en,
    "nist-grubbs": _grubbs,
    "grubbs-table": _grubbs_table,
    "nist-tietjen-moore": _tietjen_moore,
    "type1-gauge-study": _type_one,
}
