"""Lengths put together, with what they share."""

from __future__ import annotations

import dataclasses
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lab.metrology.budgets import (
    SourceNotNamed,
    SourcesDisagree,
    TermKind,
    diameter_budget,
    summed_length,
)
from lab.metrology.errors import BadShape, OutOfDomain
from tests.metrology.budget_examples import (
    AT_20,
    COMPONENTS,
    SAMPLED,
    STATED,
    WARM_PART,
    part,
    shares,
)


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
