"""Ready budgets of the five characteristics, and the terms of the part."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Callable

import pytest

from lab.metrology.budgets import (
    Characteristic,
    InstrumentModel,
    MpeQuantity,
    PartThermal,
    PassesNotPlausible,
    Repeatability,
    SamplingNotStated,
    StatedMpe,
    Term,
    TermKind,
    angle_budget,
    bending,
    bending_term,
    coating_term,
    diameter_budget,
    form_budget,
    length_budget,
    position_budget,
    repeat_readings,
    sampling_term,
    workpiece_term,
)
from lab.metrology.checks.limits import Limit
from lab.metrology.errors import BadShape, NotFinite, OutOfDomain
from lab.metrology.uncertainty import Normal, propagate
from tests.metrology.budget_examples import (
    AT_20,
    COMPONENTS,
    HISTORY,
    MODELS,
    SAMPLED,
    SHARED,
    STATED,
    WARM_PART,
    shares,
)


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
