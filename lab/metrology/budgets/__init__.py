"""Ready budgets, each with exactly one model of the instrument.

``length_budget``, ``diameter_budget``, ``form_budget``, ``position_budget``,
``angle_budget``
    The budgets of the five characteristics.
``StatedMpe``, ``CheckHistory``, ``Components``, ``declare_instrument``
    The three instrument models (A), (B), (C), and the refusal of mixtures.
``PartThermal``, ``coating_term``, ``bending``, ``bending_term``, ``sampling_term``,
``workpiece_term``, ``repeat_readings``
    The part's own terms.
``carried_point``, ``distance_relation``, ``position_relation``, ``angle_relation``,
``relation_u``, ``frame_term``
    The frame's share, as the uncertainty of a relation.
``summed_length``
    A length from several, with what they share perfectly correlated.
"""

from __future__ import annotations

from lab.metrology.budgets.corrections import (
    Bending,
    PartThermal,
    bending,
    bending_term,
    coating_term,
)
from lab.metrology.budgets.instruments import (
    BarTemperature,
    CheckHistory,
    Components,
    FrameInsideStatedVolume,
    InstrumentModel,
    MixedInstrumentModels,
    MpeOfOtherQuantity,
    MpeQuantity,
    NotLikeTheArtefact,
    StatedMpe,
    TermAlreadyHeld,
    declare_instrument,
    require_addable,
)
from lab.metrology.budgets.ready import (
    ReadyBudget,
    SamplingNotStated,
    angle_budget,
    diameter_budget,
    form_budget,
    length_budget,
    position_budget,
)
from lab.metrology.budgets.relation import (
    CarriedPoint,
    angle_relation,
    carried_point,
    distance_relation,
    frame_term,
    position_relation,
    relation_u,
)
from lab.metrology.budgets.sums import SourceNotNamed, SourcesDisagree, summed_length
from lab.metrology.budgets.terms import (
    Characteristic,
    PassesNotPlausible,
    Repeatability,
    Term,
    TermKind,
    repeat_readings,
    sampling_term,
    workpiece_term,
)

__all__ = [
    "BarTemperature",
    "Bending",
    "CarriedPoint",
    "Characteristic",
    "CheckHistory",
    "Components",
    "FrameInsideStatedVolume",
    "InstrumentModel",
    "MixedInstrumentModels",
    "MpeOfOtherQuantity",
    "MpeQuantity",
    "NotLikeTheArtefact",
    "PartThermal",
    "PassesNotPlausible",
    "ReadyBudget",
    "Repeatability",
    "SamplingNotStated",
    "SourceNotNamed",
    "SourcesDisagree",
    "StatedMpe",
    "Term",
    "TermAlreadyHeld",
    "TermKind",
    "angle_budget",
    "angle_relation",
    "bending",
    "bending_term",
    "carried_point",
    "coating_term",
    "declare_instrument",
    "diameter_budget",
    "distance_relation",
    "form_budget",
    "frame_term",
    "length_budget",
    "position_budget",
    "position_relation",
    "relation_u",
    "repeat_readings",
    "require_addable",
    "sampling_term",
    "summed_length",
    "workpiece_term",
]
