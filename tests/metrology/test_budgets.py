"""Ready budgets: one instrument model each, and nothing counted twice."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Callable

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lab.metrology.budgets import (
    BarTemperature,
    Characteristic,
    CheckHistory,
    Components,
    FrameInsideStatedVolume,
    InstrumentModel,
    MixedInstrumentModels,
    MpeOfOtherQuantity,
    MpeQuantity,
    NotLikeTheArtefact,
    PartThermal,
    PassesNotPlausible,
    ReadyBudget,
    Repeatability,
    SamplingNotStated,
    SourceNotNamed,
    SourcesDisagree,
    StatedMpe,
    Term,
    TermAlreadyHeld,
    TermKind,
    angle_budget,
    bending,
    bending_term,
    coating_term,
    declare_instrument,
    diameter_budget,
    form_budget,
    length_budget,
    position_budget,
    repeat_readings,
    sampling_term,
    summed_length,
    workpiece_term,
)
from lab.metrology.checks.limits import Limit
from lab.metrology.errors import BadShape, NotFinite, OutOfDomain
from lab.metrology.thermal import Expansion, Temperature, part_length_from_bar
from lab.metrology.uncertainty import Normal, propagate

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


def test_a_diameter_with_spray_on_it() -> None:
    coat = coating_term(0.008, 0.003, outward=[1, 1])
    shaft = diameter_budget(50.0, STATED, AT_20, [SAMPLED, coat])
    assert shaft.corrected == pytest.approx(49.984)
    bore = diameter_budget(
        50.0, STATED, AT_20, [SAMPLED, coating_term(0.008, 0.003, outward=[-1, -1])]
    )
    assert bore.corrected == pytest.approx(50.016)
    assert shares(bore)[TermKind.SPRAY] == pytest.approx(0.006)
    step = coating_term(0.008, 0.003, outward=[1, -1])
    assert (step.correction, step.contribution) == (0.0, 0.0)
    stuck = coating_term(0.11, 0.005, outward=[1], is_spray=False)
    assert stuck.kind is TermKind.TARGET_THICKNESS


def test_form_has_no_expansion_and_never_goes_below_zero() -> None:
    flat = StatedMpe(Limit(0.04), MpeQuantity.FLAT_FORM, "ISO 10360-13:2021", 500.0)
    ready = form_budget(0.06, flat, [SAMPLED, bending_term(0.012)])
    assert set(shares(ready)) == {
        TermKind.INSTRUMENT,
        TermKind.SAMPLING,
        TermKind.BENDING,
    }
    with pytest.raises(OutOfDomain, match="below zero: add the bias"):
        form_budget(
            0.003,
            dataclasses.replace(
                HISTORY, characteristics=frozenset({Characteristic.FORM}), smallest_mm=0
            ),
            [SAMPLED],
        )
    assert shares(form_budget(0.06, COMPONENTS, [SAMPLED])).keys() == {
        TermKind.PROBING_NOISE,
        TermKind.DRIFT,
        TermKind.FIELD_ERROR,
        TermKind.SAMPLING,
    }


def test_a_position_counts_every_radial_error_twice() -> None:
    ready = position_budget(
        [0.03, -0.04],
        600.0,
        STATED,
        dataclasses.replace(WARM_PART, is_corrected=True),
        [SAMPLED],
    )
    assert ready.corrected == pytest.approx(0.1)
    found = shares(ready)
    assert found[TermKind.SAMPLING] == pytest.approx(0.006)
    assert found[TermKind.INSTRUMENT] == pytest.approx(2 * 0.042 / math.sqrt(3))
    assert found[TermKind.PART_EXPANSION] == pytest.approx(2 * 600 * 1.5 * 1.2e-6)
    with pytest.raises(OutOfDomain, match="must be at 20 °C"):
        position_budget([0.03, -0.04], 600.0, STATED, WARM_PART, [SAMPLED])
    with pytest.raises(BadShape, match="one to three coordinates, got 4"):
        position_budget([0.0] * 4, 600.0, STATED, AT_20, [SAMPLED])
    with pytest.raises(OutOfDomain, match="no sign in a radial deviation"):
        position_budget(
            [0.0, 0.1],
            600.0,
            STATED,
            AT_20,
            [SAMPLED, coating_term(0.01, 0.0, outward=[1])],
        )


def test_an_angle_leaves_the_scale_out_and_turns_millimetres_into_radians() -> None:
    sampled = sampling_term(1e-5, 1, feature="both faces", unit="rad")
    ready = angle_budget(1.57, [300.0, 400.0], COMPONENTS, [sampled])
    found = shares(ready)
    lever = math.hypot(1 / 300, 1 / 400)
    assert TermKind.SYSTEM_SCALE not in found
    assert TermKind.SCALE_TEMPERATURE not in found
    assert found[TermKind.PROBING_NOISE] == pytest.approx(0.008 * lever)
    assert found[TermKind.SAMPLING] == pytest.approx(1e-5)
    assert ready.unit == "rad"
    with pytest.raises(BadShape, match="must be two lengths, got 1"):
        angle_budget(1.57, [300.0], COMPONENTS, [sampled])
    with pytest.raises(OutOfDomain, match="must be in rad"):
        angle_budget(1.57, [300.0, 400.0], COMPONENTS, [SAMPLED])


def test_the_share_of_the_fit_must_be_stated_and_plausible() -> None:
    with pytest.raises(SamplingNotStated, match="has no sampling term"):
        length_budget(800.0, STATED, WARM_PART, [])
    for passes in (0, 101, 100_000):
        with pytest.raises(PassesNotPlausible, match="not the points"):
            sampling_term(0.03, passes, feature="face")


def test_below_five_repeats_the_pooled_scatter_is_used() -> None:
    def chosen(repeats: int) -> Repeatability:
        return repeat_readings(
            0.001,
            repeats,
            pooled_standard_deviation=0.004,
            pooled_degrees_of_freedom=40.0,
        )

    assert (chosen(4).standard_deviation, chosen(4).degrees_of_freedom) == (0.004, 40.0)
    assert (chosen(5).standard_deviation, chosen(5).degrees_of_freedom) == (0.001, 4.0)
    assert chosen(4).term().contribution == pytest.approx(0.002)


def test_repeats_reduce_the_repeat_term_only() -> None:
    def with_repeats(repeats: int) -> dict[TermKind, float]:
        noise = Repeatability(0.008, 30.0, repeats)
        instrument = dataclasses.replace(COMPONENTS, noise=noise)
        return shares(length_budget(800.0, instrument, WARM_PART, [SAMPLED]))

    once, often = with_repeats(1), with_repeats(16)
    assert often.pop(TermKind.PROBING_NOISE) == pytest.approx(
        once.pop(TermKind.PROBING_NOISE) / 4
    )
    assert often == once


def test_bending_is_that_of_a_circular_arc() -> None:
    bent = bending(2000.0, 10.0, 23.1e-6, 1.0)
    radius = 1.0 / bent.curvature_per_mm
    half = 1000.0 / radius
    # Series of the arc: the next terms are of relative size (half angle)^2 / 12.
    assert bent.sagitta_mm == pytest.approx(radius * (1 - math.cos(half)), rel=1e-6)
    chord = 2 * radius * math.sin(half)
    assert bent.chord_change_mm == pytest.approx(chord - 2000.0, rel=1e-5)
    assert bent.end_tilt_rad == pytest.approx(2 * half)
    assert bent.length_change_mm(5.0) == pytest.approx(
        5.0 * bent.end_tilt_rad + bent.chord_change_mm
    )
    with pytest.raises(OutOfDomain, match="would bend by"):
        bending(2000.0, 1.0, 23.1e-6, 100.0)


def part(
    length: float, instrument: InstrumentModel, thermal: PartThermal
) -> ReadyBudget:
    return length_budget(length, instrument, thermal, [SAMPLED])


@given(st.floats(100.0, 900.0))
def test_a_length_summed_from_two_with_one_scale_has_it_perfectly_correlated(
    first: float,
) -> None:
    pieces = [part(length, COMPONENTS, WARM_PART) for length in (first, 1000.0 - first)]
    whole = shares(part(1000.0, COMPONENTS, WARM_PART))
    summed = summed_length(pieces)
    found = shares(summed)
    for kind in (
        TermKind.SYSTEM_SCALE,
        TermKind.SCALE_TEMPERATURE,
        TermKind.SCALE_EXPANSION,
        TermKind.PART_TEMPERATURE,
        TermKind.PART_EXPANSION,
    ):
        assert found[kind] == pytest.approx(whole[kind], rel=1e-12)
    # Each end of each piece was sampled by itself.
    own = [each for each in summed.terms if each.kind is TermKind.SAMPLING]
    assert len(own) == 2
    assert summed.corrected == pytest.approx(
        part(1000.0, COMPONENTS, WARM_PART).corrected, abs=1e-10
    )


def test_two_scales_are_independent() -> None:
    other = dataclasses.replace(COMPONENTS, scale_source="bar 2")
    summed = summed_length([part(500.0, COMPONENTS, AT_20), part(500.0, other, AT_20)])
    scales = [
        each.contribution for each in summed.terms if each.kind is TermKind.SYSTEM_SCALE
    ]
    assert scales == pytest.approx([0.004, 0.004])


def test_in_a_difference_the_common_scale_cancels() -> None:
    pieces = [part(500.0, COMPONENTS, WARM_PART), part(500.0, COMPONENTS, WARM_PART)]
    difference = summed_length(pieces, [1, -1])
    found = shares(difference)
    assert found[TermKind.SYSTEM_SCALE] == 0.0
    assert found[TermKind.PART_TEMPERATURE] == 0.0
    assert difference.corrected == 0.0
    assert difference.combine().u > 0.0


def test_a_stated_mpe_adds_in_a_sum_and_does_not_cancel_in_a_difference() -> None:
    pieces = [part(600.0, STATED, AT_20), part(400.0, STATED, AT_20)]
    added = shares(summed_length(pieces))[TermKind.INSTRUMENT]
    assert added == pytest.approx((0.042 + 0.038) / math.sqrt(3))
    taken = summed_length(pieces, [1, -1])
    kept = [each for each in taken.terms if each.kind is TermKind.INSTRUMENT]
    assert math.hypot(*(each.contribution for each in kept)) == pytest.approx(
        math.hypot(0.042, 0.038) / math.sqrt(3)
    )


def test_sums_that_cannot_be_made_are_refused() -> None:
    one = part(500.0, STATED, AT_20)
    with pytest.raises(BadShape, match="at least two lengths"):
        summed_length([one])
    with pytest.raises(BadShape, match="signs must be"):
        summed_length([one, one], [1, 2])
    with pytest.raises(OutOfDomain, match="different instrument models"):
        summed_length([one, part(500.0, COMPONENTS, AT_20)])
    with pytest.raises(OutOfDomain, match="is no length to be summed"):
        summed_length([one, diameter_budget(50.0, STATED, AT_20, [SAMPLED])])
    nameless = dataclasses.replace(AT_20, sensor="")
    with pytest.raises(SourceNotNamed, match="name its source"):
        summed_length([part(500.0, STATED, nameless)] * 2)
    wider = dataclasses.replace(COMPONENTS, scale_u_relative=9e-6)
    with pytest.raises(SourcesDisagree, match="bar 1 has different uncertainties"):
        summed_length([part(500.0, COMPONENTS, AT_20), part(500.0, wider, AT_20)])


@pytest.mark.parametrize(("instrument", "thermal"), MODELS)
def test_monte_carlo_of_a_ready_budget_agrees(
    instrument: InstrumentModel, thermal: PartThermal
) -> None:
    ready = length_budget(800.0, instrument, thermal, [SAMPLED])
    drawn = propagate(ready.budget, seed=2, trials=200_000)
    expanded = ready.expand()
    # Quantiles of 200,000 draws are good to half a percent of U; the t-distributions
    # of the history widen what is drawn a little.
    assert drawn.estimate == pytest.approx(ready.corrected, abs=1e-3)
    assert (drawn.symmetric_high - drawn.symmetric_low) / 2 == pytest.approx(
        expanded.expanded_u, rel=0.02
    )


def refusals() -> list[tuple[Callable[[], object], type[Exception], str]]:
    def history(**changes: object) -> Callable[[], object]:
        return lambda: dataclasses.replace(HISTORY, **changes)  # type: ignore[arg-type]

    def components(**changes: object) -> Callable[[], object]:
        return lambda: dataclasses.replace(COMPONENTS, **changes)  # type: ignore[arg-type]

    return [
        (lambda: dataclasses.replace(STATED, test=" "), OutOfDomain, "to which test"),
        (lambda: dataclasses.replace(STATED, volume_mm=0.0), OutOfDomain, "volume_mm"),
        (history(long_term_s=-1.0), OutOfDomain, "long_term_s is -1"),
        (history(bias=math.nan), NotFinite, "bias is nan"),
        (history(smallest_mm=2000.0), OutOfDomain, "upside down"),
        (components(frame_u_mm=-0.1), OutOfDomain, "frame_u_mm is -0.1"),
        (components(scale_source=""), OutOfDomain, "name what gave"),
        (
            lambda: dataclasses.replace(SHARED, bar_source=""),
            OutOfDomain,
            "name the bar",
        ),
        (lambda: Repeatability(-0.1, 3.0, 1), OutOfDomain, "standard_deviation"),
        (lambda: Repeatability(0.1, 3.0, 0), OutOfDomain, "repeats must be at least 1"),
        (lambda: workpiece_term(-0.1, cause="play"), OutOfDomain, "half_width"),
        (lambda: bending_term(math.inf), NotFinite, "effect_at_limit"),
        (
            lambda: coating_term(-0.1, 0.0, outward=[1]),
            OutOfDomain,
            "thickness_mm is -0.1",
        ),
        (
            lambda: length_budget(-1.0, STATED, AT_20, [SAMPLED]),
            OutOfDomain,
            "measured_mm is -1",
        ),
        (
            lambda: Term(TermKind.WORKPIECE, "x", Normal(0.1), sensitivity=math.nan),
            NotFinite,
            "sensitivity of x",
        ),
    ]


@pytest.mark.parametrize(("make", "error", "words"), refusals())
def test_refusals(
    make: Callable[[], object], error: type[Exception], words: str
) -> None:
    with pytest.raises(error, match=words):
        make()
