"""Exactly one instrument model each, and nothing counted twice."""

from __future__ import annotations

import dataclasses
import math

import pytest

from lab.metrology.budgets import (
    Characteristic,
    FrameInsideStatedVolume,
    InstrumentModel,
    MixedInstrumentModels,
    MpeOfOtherQuantity,
    MpeQuantity,
    NotLikeTheArtefact,
    PartThermal,
    Term,
    TermAlreadyHeld,
    TermKind,
    declare_instrument,
    form_budget,
    length_budget,
)
from lab.metrology.thermal import part_length_from_bar
from lab.metrology.uncertainty import Normal
from tests.metrology.budget_examples import (
    ALUMINIUM,
    AT_20,
    COMPONENTS,
    COMPONENTS_SHARED,
    HISTORY,
    INVAR,
    MODELS,
    SAMPLED,
    SHARED,
    STATED,
    WARM,
    WARM_PART,
    shares,
    term,
)

MIXED = [
    (STATED, TermKind.ARTEFACT_CALIBRATION),
    (STATED, TermKind.LONG_TERM),
    (STATED, TermKind.BIAS),
    (HISTORY, TermKind.INSTRUMENT),
    (COMPONENTS, TermKind.INSTRUMENT),
    (COMPONENTS, TermKind.LONG_TERM),
    (COMPONENTS, TermKind.BIAS),
]
HELD = [
    *(
        (model, kind)
        for model in (STATED, HISTORY, COMPONENTS)
        for kind in (
            TermKind.PROBING_NOISE,
            TermKind.TRACKER_NOISE,
            TermKind.REPEAT,
            TermKind.SYSTEM_SCALE,
            TermKind.SCALE_TEMPERATURE,
            TermKind.SCALE_EXPANSION,
            TermKind.DRIFT,
            TermKind.FIELD_ERROR,
        )
    ),
    (STATED, TermKind.INSTRUMENT),
    (HISTORY, TermKind.LONG_TERM),
    (COMPONENTS, TermKind.FRAME),
    (dataclasses.replace(HISTORY, is_frame_in_checks=True), TermKind.FRAME),
]


@pytest.mark.parametrize(("instrument", "thermal"), MODELS)
def test_a_length_under_each_model(
    instrument: InstrumentModel, thermal: PartThermal
) -> None:
    ready = length_budget(800.0, instrument, thermal, [SAMPLED])
    combined = ready.combine()
    assert combined.u == pytest.approx(
        math.hypot(*(each.contribution for each in ready.terms))
    )
    assert ready.instrument == instrument.title
    assert combined.estimate == ready.corrected
    # 800 mm of aluminium at 21.5 °C is 27.7 µm too long.
    bias = 0.004 if instrument is HISTORY else 0.0
    expected = 800.0 / (1 + 23.1e-6 * 1.5) - bias
    assert ready.corrected == pytest.approx(expected, abs=1e-12)


def test_model_a_is_mpe_over_the_root_of_three_and_says_what_it_is() -> None:
    found = shares(length_budget(800.0, STATED, WARM_PART, [SAMPLED]))
    assert found[TermKind.INSTRUMENT] == pytest.approx(0.046 / math.sqrt(3))
    assert found[TermKind.PART_TEMPERATURE] == pytest.approx(800 * 23.1e-6 * 0.2)
    assert found[TermKind.PART_EXPANSION] == pytest.approx(800 * 1.5 * 1.2e-6)
    assert found[TermKind.SAMPLING] == pytest.approx(0.003)
    assert "maximum permissible error, u = MPE/√3" in STATED.statement
    assert "length measurement error, ISO 10360-13:2021" in STATED.statement
    figure = dataclasses.replace(STATED, is_95_percent_figure=True)
    found = shares(length_budget(800.0, figure, WARM_PART, [SAMPLED]))
    assert found[TermKind.INSTRUMENT] == pytest.approx(0.046 / 1.959964)
    assert "a 95 % figure" in figure.statement


def test_model_b_corrects_the_bias_or_adds_it() -> None:
    corrected = length_budget(800.0, HISTORY, AT_20, [SAMPLED])
    assert corrected.corrected == pytest.approx(799.996)
    assert shares(corrected)[TermKind.BIAS] == pytest.approx(0.002)
    added = length_budget(
        800.0, dataclasses.replace(HISTORY, is_bias_corrected=False), AT_20, [SAMPLED]
    )
    assert added.corrected == 800.0
    assert shares(added)[TermKind.BIAS] == pytest.approx(0.004)
    # Only the long-term scatter has few degrees of freedom.
    assert corrected.combine().effective_dof > 24.0


@pytest.mark.parametrize("size", [299.9, 1200.1])
def test_model_b_says_nothing_of_other_sizes_and_features(size: float) -> None:
    with pytest.raises(NotLikeTheArtefact, match="lies outside the 300 mm to 1200 mm"):
        length_budget(size, HISTORY, AT_20, [SAMPLED])
    with pytest.raises(NotLikeTheArtefact, match="say nothing of a form"):
        form_budget(0.03, HISTORY, [SAMPLED])


def test_model_c_with_a_sensor_of_the_bars_own() -> None:
    found = shares(length_budget(800.0, COMPONENTS, WARM_PART, [SAMPLED]))
    assert found[TermKind.SYSTEM_SCALE] == pytest.approx(0.0064)
    assert found[TermKind.SCALE_TEMPERATURE] == pytest.approx(800 * 1.2e-6 * 0.3)
    assert found[TermKind.SCALE_EXPANSION] == pytest.approx(800 * 1.2 * 0.3e-6)
    assert found[TermKind.PART_TEMPERATURE] == pytest.approx(800 * 23.1e-6 * 0.2)
    assert found[TermKind.DRIFT] == pytest.approx(0.006 / math.sqrt(3))


def test_one_sensor_for_part_and_bar_enters_once() -> None:
    ready = length_budget(800.0, COMPONENTS_SHARED, SHARED, [SAMPLED])
    found = shares(ready)
    assert TermKind.SCALE_TEMPERATURE not in found
    assert found[TermKind.PART_TEMPERATURE] == pytest.approx(
        800 * (23.1e-6 - 1.2e-6) * 0.2
    )
    # The temperature module finds them from the bar's length at its temperature; the
    # two differ by products of expansions, some 1e-5.
    other = part_length_from_bar(
        800.0,
        1000.0,
        1000.0,
        u_bar_length_mm=0.008,
        bar_expansion=INVAR,
        bar_temperature=WARM,
        part_expansion=ALUMINIUM,
        part_temperature=WARM,
        sensor_correlation=1.0,
    )
    for kind, share in (
        (TermKind.PART_TEMPERATURE, other.u_from_temperatures_mm),
        (TermKind.PART_EXPANSION, other.u_from_part_expansion_mm),
        (TermKind.SCALE_EXPANSION, other.u_from_bar_expansion_mm),
        (TermKind.SYSTEM_SCALE, other.u_from_bar_mm),
    ):
        assert found[kind] == pytest.approx(share, rel=1e-4)
    for instrument, thermal in ((COMPONENTS, SHARED), (COMPONENTS_SHARED, WARM_PART)):
        with pytest.raises(TermAlreadyHeld, match="enters once"):
            length_budget(800.0, instrument, thermal, [SAMPLED])
    with pytest.raises(TermAlreadyHeld, match="already holds the scale bar"):
        length_budget(800.0, STATED, SHARED, [SAMPLED])


@pytest.mark.parametrize(("instrument", "kind"), MIXED)
def test_terms_of_another_model_are_refused(
    instrument: InstrumentModel, kind: TermKind
) -> None:
    with pytest.raises(MixedInstrumentModels, match="belongs to another instrument"):
        length_budget(800.0, instrument, WARM_PART, [SAMPLED, term(kind)])


@pytest.mark.parametrize(("instrument", "kind"), HELD)
def test_terms_that_the_model_holds_are_refused(
    instrument: InstrumentModel, kind: TermKind
) -> None:
    with pytest.raises(TermAlreadyHeld, match="is already held by"):
        length_budget(800.0, instrument, WARM_PART, [SAMPLED, term(kind)])


def test_a_second_thermal_term_is_refused() -> None:
    for kind in (TermKind.PART_TEMPERATURE, TermKind.PART_EXPANSION):
        with pytest.raises(TermAlreadyHeld, match="comes with the part's temperature"):
            length_budget(800.0, STATED, WARM_PART, [SAMPLED, term(kind)])


def test_a_budget_declares_exactly_one_model() -> None:
    assert declare_instrument([STATED]) is STATED
    with pytest.raises(MixedInstrumentModels, match="exactly one instrument model"):
        declare_instrument([STATED, HISTORY])
    with pytest.raises(MixedInstrumentModels, match="got none"):
        declare_instrument([])


def test_the_frame_is_added_only_beyond_the_stated_volume() -> None:
    frame = Term(TermKind.FRAME, "relation through the frame", Normal(0.01))
    with pytest.raises(FrameInsideStatedVolume, match="inside the volume"):
        length_budget(2000.0, STATED, WARM_PART, [SAMPLED, frame])
    beyond = length_budget(2000.1, STATED, WARM_PART, [SAMPLED, frame])
    assert shares(beyond)[TermKind.FRAME] == pytest.approx(0.01)
    with_history = length_budget(800.0, HISTORY, WARM_PART, [SAMPLED, frame])
    assert shares(with_history)[TermKind.FRAME] == pytest.approx(0.01)


@pytest.mark.parametrize(
    ("quantity", "characteristic"),
    [
        (MpeQuantity.PROBING_SIZE, Characteristic.LENGTH),
        (MpeQuantity.PROBING_FORM, Characteristic.DIAMETER),
        (MpeQuantity.LENGTH_MEASUREMENT, Characteristic.FORM),
        (MpeQuantity.FLAT_FORM, Characteristic.POSITION),
    ],
)
def test_a_figure_for_another_quantity_is_refused(
    quantity: MpeQuantity, characteristic: Characteristic
) -> None:
    other = dataclasses.replace(STATED, quantity=quantity)
    with pytest.raises(MpeOfOtherQuantity, match=quantity.value):
        other.terms(characteristic, 100.0)
