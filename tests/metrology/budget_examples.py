"""Instruments, parts and terms of the invented lab, for the tests of budgets."""

from __future__ import annotations

import dataclasses

from lab.metrology.budgets import (
    BarTemperature,
    Characteristic,
    CheckHistory,
    Components,
    InstrumentModel,
    MpeQuantity,
    PartThermal,
    ReadyBudget,
    Repeatability,
    StatedMpe,
    Term,
    TermKind,
    length_budget,
    sampling_term,
)
from lab.metrology.checks.limits import Limit
from lab.metrology.thermal import Expansion, Temperature
from lab.metrology.uncertainty import Normal

ALUMINIUM = Expansion(23.1e-6, 1.2e-6)
INVAR = Expansion(1.2e-6, 0.3e-6)
WARM = Temperature(21.5, 0.2)
WARM_PART = PartThermal(ALUMINIUM, WARM, is_corrected=False)
AT_20 = PartThermal(ALUMINIUM, Temperature(20.0, 0.0), is_corrected=True)
SHARED = PartThermal(
    ALUMINIUM, WARM, is_corrected=False, shared_bar=INVAR, bar_source="bar 1"
)
SAMPLED = sampling_term(0.006, 4, feature="both faces")
STATED = StatedMpe(
    Limit(0.030, 50_000.0),
    MpeQuantity.LENGTH_MEASUREMENT,
    "ISO 10360-13:2021",
    volume_mm=2000.0,
)
HISTORY = CheckHistory(
    characteristics=frozenset({Characteristic.LENGTH, Characteristic.DIAMETER}),
    smallest_mm=300.0,
    largest_mm=1200.0,
    artefact_u=0.002,
    long_term_s=0.009,
    long_term_dof=24.0,
    bias=0.004,
    bias_u=0.002,
    is_bias_corrected=True,
    is_frame_in_checks=False,
    artefact="ball bar 1",
)
COMPONENTS = Components(
    noise=Repeatability(0.008, 30.0, 1),
    frame_u_mm=0.005,
    scale_u_relative=8e-6,
    scale_source="bar 1",
    bar_temperature=BarTemperature(INVAR, Temperature(21.2, 0.3), "sensor of bar 1"),
    drift_half_width_mm=0.006,
    field_half_width_mm=0.010,
)
COMPONENTS_SHARED = dataclasses.replace(COMPONENTS, bar_temperature=None)

MODELS: list[tuple[InstrumentModel, PartThermal]] = [
    (STATED, WARM_PART),
    (HISTORY, WARM_PART),
    (COMPONENTS, WARM_PART),
    (COMPONENTS_SHARED, SHARED),
]


def term(kind: TermKind) -> Term:
    return Term(kind, "one more", Normal(0.001), source="somewhere")


def shares(ready: ReadyBudget) -> dict[TermKind, float]:
    return {each.kind: abs(each.contribution) for each in ready.terms}


def part(
    length: float, instrument: InstrumentModel, thermal: PartThermal
) -> ReadyBudget:
    return length_budget(length, instrument, thermal, [SAMPLED])
