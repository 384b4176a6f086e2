"""Artefact checks: limits, references, the test uncertainty and the verdict."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import norm

from lab.metrology.checks import (
    Acceptance,
    Artefact,
    ArtefactGaveScale,
    Expansion,
    Limit,
    NothingCouldPass,
    PositionResult,
    ProcessingState,
    Quantity,
    Rule,
    SystemTermInTest,
    Temperature,
    TermOrigin,
    TestTerm,
    UnknownProcessingState,
    Verdict,
    acceptance_limit,
    defence,
    form_reference,
    judge_check,
    judge_position,
    length_reference,
    require_other_artefact,
)
from lab.metrology.errors import NotFinite, OutOfDomain, TooFew

STEEL = Expansion(11.5e-6, 1.2e-6)
AS_MEASURED = ProcessingState.AS_MEASURED
SIMPLE = Acceptance(Rule.SIMPLE)


def length_check(
    error_mm: float, *, limit: Limit, u_mm: float = 0.0, rule: Acceptance = SIMPLE
) -> PositionResult:
    """Judge a metre bar at 20 °C that reads wrong by `error_mm`."""
    bar = Artefact(1000.0, u_mm, Expansion(0.0, 0.0))
    reference = length_reference(bar, Temperature(20.0, 0.0), AS_MEASURED)
    return judge_position(
        "A", Quantity.LENGTH, 1000.0 + error_mm, reference, limit, rule
    )


class TestLimit:
    def test_constant(self) -> None:
        assert Limit(0.05).at(0.0) == Limit(0.05).at(3000.0) == 0.05

    def test_grows_with_length_until_its_cap(self) -> None:
        limit = Limit.from_micrometres(20.0, mm_per_um=50.0, cap_um=60.0)
        assert limit.at(0.0) == pytest.approx(0.020, abs=1e-15)
        assert limit.at(1000.0) == pytest.approx(0.040, abs=1e-15)
        assert limit.at(5000.0) == 0.060

    def test_words(self) -> None:
        assert Limit(0.02).words() == "20 µm"
        assert Limit(0.02, 50_000.0).words() == "20 µm + L/50 (L in mm)"

    @given(st.floats(0.0, 1e4), st.floats(0.0, 1e4))
    def test_never_falls_with_length(self, one: float, other: float) -> None:
        limit = Limit(0.01, 40_000.0, 0.08)
        shorter, longer = sorted((one, other))
        assert limit.at(shorter) <= limit.at(longer) <= 0.08

    @pytest.mark.parametrize(
        ("fields", "message"),
        [
            ((-0.1,), "constant_mm is -0.1; it must not be negative"),
            ((0.0,), "nothing grows with length"),
            ((0.1, 0.0), "mm_per_mm is 0; it must be greater than zero"),
            ((0.1, None, 0.05), "below the constant part"),
            ((0.1, None, 0.0), "cap_mm is 0"),
        ],
    )
    def test_refusals(self, fields: tuple[float, ...], message: str) -> None:
        with pytest.raises(OutOfDomain, match=message):
            Limit(*fields)

    def test_refuses_nan(self) -> None:
        with pytest.raises(NotFinite, match="constant_mm is nan"):
            Limit(math.nan)

    def test_purely_proportional_limit_is_refused_at_zero(self) -> None:
        with pytest.raises(OutOfDomain, match="limit_mm is 0"):
            Limit(0.0, 50_000.0).at(0.0)

    def test_negative_length(self) -> None:
        with pytest.raises(OutOfDomain, match="length_mm is -1"):
            Limit(0.05).at(-1.0)


class TestDefence:
    def test_limit_at_the_permissible_error_defends_that_budget(self) -> None:
        limit = Limit(0.06)
        assert defence(limit, 0.06 / math.sqrt(3.0)).is_defended

    def test_the_same_limit_does_not_defend_a_budget_from_history(self) -> None:
        found = defence(Limit(0.06), 0.015)
        assert not found.is_defended
        assert found.largest_limit_mm == pytest.approx(0.015 * math.sqrt(3.0))
        assert "does not defend" in found.reason
        assert "26 µm or less" in found.reason or "25.98 µm or less" in found.reason

    def test_tightening_to_the_largest_limit_defends(self) -> None:
        largest_mm = defence(Limit(0.06), 0.015).largest_limit_mm
        assert defence(Limit(largest_mm), 0.015).is_defended

    def test_the_length_counts(self) -> None:
        limit = Limit(0.01, 50_000.0)
        assert defence(limit, 0.01).is_defended
        assert not defence(limit, 0.01, length_mm=2000.0).is_defended

    def test_refuses_a_claim_of_nothing(self) -> None:
        with pytest.raises(OutOfDomain, match="claimed_u_mm is 0"):
            defence(Limit(0.06), 0.0)


class TestReference:
    def test_is_brought_to_the_temperature_of_the_artefact(self) -> None:
        bar = Artefact(500.0, 0.001, STEEL)
        found = length_reference(bar, Temperature(22.0, 0.1), AS_MEASURED)
        assert found.value_mm == pytest.approx(500.0 * (1 + 11.5e-6 * 2), abs=1e-12)
        assert found.correction_mm == pytest.approx(0.0115, abs=1e-9)

    def test_stays_at_20_degrees_for_corrected_results_with_the_same_doubt(
        self,
    ) -> None:
        bar, warm = Artefact(500.0, 0.001, STEEL), Temperature(22.0, 0.1)
        raw = length_reference(bar, warm, AS_MEASURED)
        corrected = length_reference(bar, warm, ProcessingState.AT_REFERENCE)
        assert corrected.value_mm == 500.0
        assert corrected.correction_mm == 0.0
        assert corrected.u_mm == raw.u_mm

    def test_error_is_the_same_in_both_states(self) -> None:
        """A result corrected elsewhere by the same coefficient has the same error."""
        bar, warm = Artefact(800.0, 0.001, STEEL), Temperature(23.0, 0.1)
        raw = length_reference(bar, warm, AS_MEASURED)
        corrected = length_reference(bar, warm, ProcessingState.AT_REFERENCE)
        reading_mm = 800.05
        brought_mm = reading_mm / (1 + STEEL.per_k * 3.0)
        # They differ by error·α·ΔT: 0.02 mm × 35e-6, under a nanometre.
        assert reading_mm - raw.value_mm == pytest.approx(
            brought_mm - corrected.value_mm, abs=1e-6
        )

    def test_terms_combine_and_stand_largest_first(self) -> None:
        bar = Artefact(1000.0, 0.001, STEEL, u_drift_mm=0.0005)
        mounting = TestTerm("mounting", 0.004, TermOrigin.SET_UP)
        found = length_reference(bar, Temperature(21.0, 0.2), AS_MEASURED, [mounting])
        by_hand = math.sqrt(
            0.001**2
            + 0.0005**2
            + (1000 * 1.0 * 1.2e-6) ** 2
            + (1000 * 11.5e-6 * 0.2) ** 2
            + 0.004**2
        )
        assert found.u_mm == pytest.approx(by_hand, rel=1e-9)
        sizes = [term.u_mm for term in found.terms]
        assert sizes == sorted(sizes, reverse=True)
        assert found.terms[0].name == "mounting"

    def test_repeatability_of_the_system_is_refused(self) -> None:
        with pytest.raises(SystemTermInTest, match="'repeatability' is a property"):
            TestTerm("repeatability", 0.002, TermOrigin.SYSTEM)

    def test_unknown_processing_state_is_refused(self) -> None:
        bar = Artefact(500.0, 0.001, STEEL)
        with pytest.raises(UnknownProcessingState, match="as measured or already"):
            length_reference(bar, Temperature(20.0, 0.1), ProcessingState.UNKNOWN)

    def test_the_bar_that_gave_the_scale_is_refused(self) -> None:
        require_other_artefact("ball bar", ["steel bar"])
        with pytest.raises(ArtefactGaveScale, match="check with another artefact"):
            require_other_artefact("steel bar", ["invar bar", "steel bar"])

    def test_form_of_the_artefact_is_doubt_and_no_correction(self) -> None:
        found = form_reference(Artefact(0.0008, 0.0003, STEEL))
        assert found.value_mm == 0.0
        assert found.u_mm == pytest.approx(0.0005, abs=1e-15)

    @pytest.mark.parametrize(
        ("fields", "message"),
        [
            ((-1.0, 0.001, STEEL), "artefact value_mm is -1"),
            ((1.0, -0.001, STEEL), "artefact u_mm is -0.001"),
            ((1.0, 0.001, STEEL, -1.0), "artefact u_drift_mm is -1"),
        ],
    )
    def test_refusals(self, fields: tuple[object, ...], message: str) -> None:
        with pytest.raises(OutOfDomain, match=message):
            Artefact(*fields)  # type: ignore[arg-type]

    def test_zero_length_is_refused(self) -> None:
        with pytest.raises(OutOfDomain, match="length_mm is 0"):
            length_reference(
                Artefact(0.0, 0.001, STEEL), Temperature(20.0, 0.1), AS_MEASURED
            )


class TestAcceptanceLimit:
    def test_simple_acceptance_is_the_limit(self) -> None:
        assert acceptance_limit(0.05, 0.03, SIMPLE, one_sided=False) == 0.05

    def test_guard_is_the_normal_quantile_times_u(self) -> None:
        guarded = Acceptance(Rule.GUARDED, 0.95)
        found = acceptance_limit(0.05, 0.004, guarded, one_sided=True)
        # z(0.95) = 1.644854 in any table, to six decimals.
        assert found == pytest.approx(0.05 - 1.644854 * 0.004, abs=4e-9)

    @given(
        st.floats(0.01, 0.2),
        st.floats(0.05, 0.50),
        st.sampled_from([0.8, 0.9, 0.95]),
    )
    def test_two_sided_probability_at_the_accepted_error(
        self, limit_mm: float, u_share: float, probability: float
    ) -> None:
        u_mm = limit_mm * u_share
        guarded = Acceptance(Rule.GUARDED, probability)
        try:
            error_mm = acceptance_limit(limit_mm, u_mm, guarded, one_sided=False)
        except NothingCouldPass:
            assert 2 * norm.cdf(limit_mm / u_mm) - 1 <= probability
            return
        inside = norm.cdf((limit_mm - error_mm) / u_mm) - norm.cdf(
            (-limit_mm - error_mm) / u_mm
        )
        # The far limit is left out once the limits are 5u apart or more: there
        # its share is at most Φ(z - 5), 0.0004 at 0.95.
        assert inside == pytest.approx(probability, abs=6e-4)

    def test_a_larger_test_uncertainty_never_accepts_more(self) -> None:
        u_mm = np.linspace(0.0, 0.025, 60)
        accepted = [
            acceptance_limit(0.05, float(u), Acceptance(), one_sided=False)
            for u in u_mm
        ]
        assert np.all(np.diff(accepted) < 0.0)

    @pytest.mark.parametrize("one_sided", [True, False])
    def test_nothing_could_pass(self, one_sided: bool) -> None:
        with pytest.raises(NothingCouldPass, match="no value could be accepted"):
            acceptance_limit(0.01, 0.01, Acceptance(), one_sided=one_sided)

    @pytest.mark.parametrize("probability", [0.5, 1.0, 0.0])
    def test_probability_outside_its_range(self, probability: float) -> None:
        with pytest.raises(OutOfDomain, match=r"between 0.5 and 1"):
            Acceptance(Rule.GUARDED, probability)


class TestPosition:
    def test_passes_within_and_at_the_limit(self) -> None:
        assert length_check(0.05, limit=Limit(0.05)).verdict is Verdict.PASS
        assert length_check(-0.05, limit=Limit(0.05)).verdict is Verdict.PASS
        assert length_check(0.0501, limit=Limit(0.05)).verdict is Verdict.FAIL

    def test_limit_is_taken_at_the_calibrated_length(self) -> None:
        found = length_check(0.01, limit=Limit(0.01, 50_000.0))
        assert found.limit_mm == pytest.approx(0.03)
        assert found.share_of_limit == pytest.approx(1 / 3)

    def test_limit_of_a_size_does_not_grow(self) -> None:
        sphere = Artefact(50.0, 0.0005, STEEL)
        reference = length_reference(sphere, Temperature(20.0, 0.1), AS_MEASURED)
        found = judge_position(
            "A",
            Quantity.PROBING_SIZE,
            50.02,
            reference,
            Limit(0.03, 50_000.0),
            SIMPLE,
        )
        assert found.limit_mm == 0.03

    def test_guard_turns_a_narrow_pass_into_a_fail(self) -> None:
        narrow = {"limit": Limit(0.05), "u_mm": 0.004}
        assert length_check(0.047, **narrow).verdict is Verdict.PASS  # type: ignore[arg-type]
        guarded = length_check(0.047, rule=Acceptance(), **narrow)  # type: ignore[arg-type]
        assert guarded.verdict is Verdict.FAIL
        assert guarded.test_uncertainty_ratio == pytest.approx(0.05 / 0.008)

    def test_no_ratio_without_uncertainty(self) -> None:
        assert length_check(0.0, limit=Limit(0.05)).test_uncertainty_ratio is None

    def test_form_is_compared_with_zero(self) -> None:
        reference = form_reference(Artefact(0.001, 0.0, STEEL))
        found = judge_position(
            "A", Quantity.FLAT_FORM, 0.02, reference, Limit(0.03), SIMPLE
        )
        assert found.error_mm == 0.02

    @given(st.floats(-0.2, 0.2), st.floats(0.0, 0.02))
    def test_verdict_is_that_of_the_comparison(
        self, error_mm: float, u_mm: float
    ) -> None:
        found = length_check(error_mm, limit=Limit(0.05), u_mm=u_mm, rule=Acceptance())
        # A reading of a metre is known to 1e-13 mm; nearer than that nothing is.
        if abs(abs(error_mm) - found.acceptance_limit_mm) > 1e-9:
            expected = abs(error_mm) < found.acceptance_limit_mm
            assert (found.verdict is Verdict.PASS) == expected

    @pytest.mark.parametrize(
        ("quantity", "measured_mm", "message"),
        [
            (Quantity.FLAT_FORM, -0.001, "a flat form is zero or more"),
            (Quantity.PROBING_FORM, -0.001, "a probing form is zero or more"),
            (Quantity.LENGTH, 0.0, "Enter the length read, not the error"),
            (Quantity.SPHERE_SPACING, -1.0, "a sphere spacing is more than zero"),
        ],
    )
    def test_impossible_readings(
        self, quantity: Quantity, measured_mm: float, message: str
    ) -> None:
        reference = form_reference(Artefact(0.001, 0.0, STEEL))
        with pytest.raises(OutOfDomain, match=message):
            judge_position("A", quantity, measured_mm, reference, Limit(0.03), SIMPLE)

    def test_nan_names_the_position(self) -> None:
        reference = form_reference(Artefact(0.001, 0.0, STEEL))
        with pytest.raises(NotFinite, match="measured_mm at 'low left' is nan"):
            judge_position(
                "low left",
                Quantity.FLAT_FORM,
                math.nan,
                reference,
                Limit(0.03),
                SIMPLE,
            )


class TestCheck:
    def test_one_bad_position_fails_the_check(self) -> None:
        positions = [
            replace(length_check(error, limit=Limit(0.05)), position=name)
            for name, error in (("A", 0.001), ("B", -0.06), ("C", 0.02))
        ]
        found = judge_check(positions)
        assert found.verdict is Verdict.FAIL
        assert [each.position for each in found.failed] == ["B"]
        assert found.worst.position == "B"
        assert found.reason == (
            "1 of 3 positions fail; the worst is length at B with 120 % of its limit."
        )

    @given(st.permutations(["A", "B", "C", "D"]))
    def test_order_does_not_matter(self, names: list[str]) -> None:
        errors = {"A": 0.01, "B": -0.03, "C": 0.02, "D": 0.0}
        found = judge_check(
            [
                replace(length_check(errors[name], limit=Limit(0.05)), position=name)
                for name in names
            ]
        )
        assert found.worst.position == "B"
        assert found.verdict is Verdict.PASS

    def test_empty(self) -> None:
        with pytest.raises(TooFew, match="at least one position"):
            judge_check([])

    def test_a_repeat_must_not_hide_the_first(self) -> None:
        twice = length_check(0.0, limit=Limit(0.05))
        with pytest.raises(OutOfDomain, match="length at 'A' is given twice"):
            judge_check([twice, twice])
