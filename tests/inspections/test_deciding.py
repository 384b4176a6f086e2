"""What is printed of a result, and what it means, under what was agreed."""

from __future__ import annotations

import json
from decimal import Decimal

import pytest

from lab.common import clock
from lab.common.errors import NotAcceptable
from lab.inspections.models import Decision
from lab.inspections.selectors import details_of
from lab.parts.entries import CharacteristicEntry
from tests import chain

pytestmark = pytest.mark.django_db
#: The keys of a kept decision: a reader of old ones counts on them.
SCHEMA_1 = {
    "acceptance_lower",
    "acceptance_text",
    "acceptance_upper",
    "accepts",
    "base_unit",
    "burden_met",
    "capability_index",
    "cmc",
    "conformance_probability",
    "conformance_probability_text",
    "correction",
    "coverage_factor",
    "coverage_factor_text",
    "evaluation",
    "expanded_u",
    "outer_lower",
    "outer_upper",
    "raised_to_cmc",
    "rule_text",
    "schema",
    "sentence",
    "specific_risk",
    "specific_risk_text",
    "test_uncertainty_ratio",
    "tolerance_lower",
    "tolerance_text",
    "tolerance_upper",
    "value",
}


@pytest.fixture(autouse=True)
def _afternoon():
    with clock.set_to(chain.at(13)):
        yield


def decide(lab, job, session, number: str = "1", **changes) -> Decision:
    entry = chain.entry(job.items.first(), lab.characteristics[number], **changes)
    (made,) = chain.record(lab, job, session, entries=[entry])
    return made.decisions.get()


@pytest.mark.parametrize(
    ("value", "verdict"),
    # Accepted is 999.94 to 1000.06: the tolerance of ±0.1 less U = 0.04 on each side.
    [
        ("1000.060", "pass"),
        ("1000.0601", "fail"),
        ("999.940", "pass"),
        ("999.9399", "fail"),
    ],
)
def test_a_value_on_the_limit_passes_and_a_hair_beyond_fails(
    lab, measured, value: str, verdict: str
) -> None:
    decision = decide(lab, *measured, value_text=value)
    assert decision.verdict == verdict
    details = details_of(decision)
    assert (
        details["acceptance_text"] == "999.940 mm to 1000.060 mm" or verdict == "fail"
    )
    assert details["accepts"] is (verdict == "pass")


@pytest.mark.parametrize("number", ["1", "2", "3"])
def test_a_kept_decision_has_the_keys_of_its_schema(lab, measured, number: str) -> None:
    decision = decide(lab, *measured, number=number)
    details = json.loads(decision.details_text)
    assert set(details) == SCHEMA_1
    assert details["schema"] == 1
    assert decision.verdict in details["sentence"].lower()


def test_no_uncertainty_below_what_the_method_claims(lab, measured) -> None:
    # CMC at 1000 mm: 20 µm + 10 µm for the metre.
    decision = decide(lab, *measured, expanded_u_text="0.012")
    details = details_of(decision)
    assert decision.printed_u == "0.030"
    assert details["raised_to_cmc"] is True
    assert details["cmc"] == "0.030"
    assert details["acceptance_text"] == "999.930 mm to 1000.070 mm"


def test_outside_the_scope_nothing_is_claimed(lab) -> None:
    far = CharacteristicEntry("1", "length", "Eye to eye", "mm", "4000", "-1", "1")
    lab.revision = chain.correct_drawing(lab, characteristics=[far])
    job, session = chain.measured_job(lab)
    decision = decide(lab, job, session, value_text="4000.1", expanded_u_text="0.001")
    details = details_of(decision)
    assert (details["cmc"], details["raised_to_cmc"]) == (None, False)
    assert decision.printed_u == "0.0010"


def test_inches_are_judged_exactly_and_printed_in_the_unit_of_the_job(
    lab, measured
) -> None:
    decision = decide(
        lab, *measured, unit="in", value_text="39.372", expanded_u_text="0.002"
    )
    # 39.372 in are 1000.0488 mm; 0.002 in are 0.0508 mm.
    assert (decision.printed_value, decision.printed_u) == ("1000.049", "0.051")
    assert decision.printed_unit == "mm"
    assert details_of(decision)["value"] == str(Decimal("39.372") * Decimal("25.4"))


def test_without_a_rule_nothing_is_stated(lab) -> None:
    job, session = chain.measured_job(lab, rule=None)
    decision = decide(lab, job, session)
    details = details_of(decision)
    assert decision.verdict == ""
    assert (decision.printed_value, decision.printed_u) == ("1000.012", "0.040")
    assert details["accepts"] is None
    assert details["sentence"] == ""
    assert details["tolerance_text"] == "999.900 mm to 1000.100 mm"
    assert set(details) == SCHEMA_1


def test_a_length_as_measured_is_not_judged_at_20_degrees(lab, measured) -> None:
    with pytest.raises(NotAcceptable, match=r"holds at 20 °C \(ISO 1\)"):
        decide(
            lab,
            *measured,
            temperature_state="as measured",
            part_temperature_text="22.1",
        )


def test_without_a_rule_a_length_may_stand_as_measured(lab) -> None:
    job, session = chain.measured_job(lab, rule=None)
    decision = decide(
        lab,
        job,
        session,
        temperature_state="as measured",
        part_temperature_text="22.1",
    )
    assert decision.printed_value == "1000.012"


def test_a_length_is_brought_to_20_degrees_here(lab, measured) -> None:
    decision = decide(
        lab,
        *measured,
        temperature_state="corrected here",
        part_temperature_text="22",
    )
    # 1000.012 / (1 + 11.5e-6 · 2) = 999.98900… mm, by hand.
    details = details_of(decision)
    assert float(details["value"]) == pytest.approx(1000.012 / 1.000023, abs=1e-9)
    assert decision.printed_value == "999.989"
    assert details["correction"] == {
        "from": "1000.012 mm",
        "at": "22 °C",
        "expansion": "11.5 µm/(m·K)",
        "expansion_u": "0.6 µm/(m·K)",
    }


def test_an_uncertainty_that_leaves_the_expansion_out_is_refused(lab, measured) -> None:
    # 1 m, 40 K from reference, u(α) = 0.6e-6: k·u = 2 · 0.024 mm > U = 0.04 mm.
    with pytest.raises(NotAcceptable, match="expansion of Steel alone"):
        decide(
            lab,
            *measured,
            temperature_state="corrected here",
            part_temperature_text="60",
        )


def test_an_angle_is_not_brought_to_20_degrees(lab, measured) -> None:
    with pytest.raises(NotAcceptable, match="Only lengths and diameters"):
        decide(
            lab,
            *measured,
            number="3",
            temperature_state="corrected here",
            part_temperature_text="22",
        )
    assert decide(
        lab,
        *measured,
        number="3",
        temperature_state="as measured",
        part_temperature_text="22",
    )


def test_an_uncertainty_that_leaves_nothing_to_accept_is_refused(lab, measured) -> None:
    with pytest.raises(NotAcceptable, match="characteristic 1: No value could be acc"):
        decide(lab, *measured, expanded_u_text="0.11")


def test_a_commas_decimal_is_the_same_number(lab, measured) -> None:
    decision = decide(lab, *measured, value_text="1000,012", coverage_factor_text="2,0")
    assert decision.printed_value == "1000.012"
    assert decision.result.coverage_factor == 2
