"""Drift of calibrated values, and the intervals that the rules propose from it."""

from __future__ import annotations

from datetime import date, timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from hypothesis import given
from hypothesis import strategies as st

from lab.common import clock
from lab.common.errors import NotAcceptable
from lab.equipment.drift import Drift, Found, drifts_of
from lab.equipment.driftcharts import drift_picture
from lab.equipment.models import Calibration, Device, IntervalRule
from lab.equipment.proposals import proposal_for, proposals, rules, shares_of_limit
from lab.equipment.services import set_interval_rule, set_requirement
from lab.metrology.trend import forecast_limit
from lab.metrology.units import Quantity
from tests.equipment.calibrated import (
    A_TO_B,
    TODAY,
    accepted,
    add_bar,
    add_logger,
    correction,
    found_laboratory,
    length,
)

pytestmark = pytest.mark.django_db
#: By hand: 4.6 µm a year with a little scatter.
LENGTHS = ("1200.0417", "1200.0467", "1200.0504", "1200.0558", "1200.0599")


@pytest.fixture(autouse=True)
def today():
    found_laboratory()
    with clock.set_to(TODAY):
        yield


@pytest.fixture
def bar(people) -> Device:
    made = add_bar(people)
    set_requirement(
        device=made,
        statement="What the budgets allow.",
        label=A_TO_B,
        limit=Quantity("30", "µm"),
        acting_user=people.quality,
    )
    return made


def drifting(people, bar: Device, lengths=LENGTHS, **changes: Any) -> None:
    for place, text in enumerate(lengths):
        day = date(2026 - len(lengths) + place, 3, 2)
        accepted(people, bar, day, values=[length(text)], **changes)


def set_rule(people, method: str, **changes: Any) -> IntervalRule:
    typed = {
        "family": "scale bar",
        "method": method,
        "months": 12,
        "reason": "A year as a start.",
        "acting_user": people.quality,
    }
    return set_interval_rule(**(typed | changes))


def test_a_drift_is_told_as_the_computation_tells_it(people, bar) -> None:
    drifting(people, bar)
    (found,) = drifts_of(bar)
    assert [f"{found.error(point):.1f}" for point in found.points] == [
        "0.0",
        "5.0",
        "8.7",
        "14.1",
        "18.2",
    ]
    expected = forecast_limit(
        [point.day.toordinal() for point in found.points],
        [0.0, 5.0, 8.7, 14.1, 18.2],
        30.0,
    )
    assert found.expected_on == date.fromordinal(int(expected.expected_time))
    assert found.earliest_on == date.fromordinal(int(expected.earliest_time))
    assert found.earliest_on < found.expected_on


def test_an_adjustment_begins_the_trend_anew(people, bar) -> None:
    drifting(people, bar)
    accepted(
        people,
        bar,
        date(2026, 3, 2),
        adjusted=True,
        values=[
            length("1200.0650", moment="as found"),
            length("1200.0417", moment="as left"),
        ],
    )
    (found,) = drifts_of(bar)
    assert len(found.points) == 7
    assert [point.value for point in found.trend_points] == [Decimal("1200.0417")]
    assert found.forecast is None
    # It had moved 5.1 µm when it was found, whatever it was set to then.
    assert shares_of_limit(found)[-1] == pytest.approx(5.1 / 30)


def test_a_sensor_s_corrections_drift_too(people) -> None:
    logger = add_logger(people)
    for year, by in ((2024, "-0.02"), (2025, "-0.03")):
        accepted(people, logger, date(year, 3, 2), corrections=[correction("20.0", by)])
    (found,) = drifts_of(logger)
    assert (found.label, found.unit) == ("Correction at 20 °C", "mK")
    assert [float(found.error(point)) for point in found.points] == [-20.0, -30.0]


def test_the_fixed_rule_proposes_its_months(people, bar) -> None:
    drifting(people, bar)
    rule = set_rule(people, "fixed", months=18)
    found = proposal_for(bar, rule)
    assert (found.months, found.present_months, found.is_change) == (18, 12, True)
    assert found.due_after(date(2026, 8, 31)) == date(2028, 2, 29)


def test_the_drift_rule_plans_for_the_edge_of_the_band(people, bar) -> None:
    drifting(people, bar)
    rule = set_rule(people, "drift")
    found = proposal_for(bar, rule)
    (drift,) = drifts_of(bar)
    assert found.due_after(date(2025, 3, 2)) <= drift.earliest_on
    assert found.months > 12
    assert "no sooner than" in found.reason


def test_the_staircase_extends_after_good_results_in_a_row(people, bar) -> None:
    drifting(people, bar)
    assert proposal_for(bar, set_rule(people, "staircase")).months == 18
    strict = set_rule(people, "staircase", extend_up_to_percent=10)
    assert proposal_for(bar, strict).months == 12


def test_the_staircase_reduces_after_a_bad_result(people, bar) -> None:
    drifting(people, bar)
    set_requirement(
        device=bar,
        statement="Narrower budgets.",
        label=A_TO_B,
        limit=Quantity("3", "µm"),
        acting_user=people.quality,
    )
    assert proposal_for(bar, set_rule(people, "staircase")).months == 6


def test_without_history_the_family_s_interval_is_proposed(people, bar) -> None:
    found = proposal_for(bar, set_rule(people, "drift"))
    assert (found.months, found.present_months) == (12, None)
    assert "Too few calibrations" in found.reason
    assert proposal_for(bar, None).months is None


def test_the_newest_rule_of_a_family_speaks(people) -> None:
    set_rule(people, "fixed")
    set_rule(people, "fixed", months=6)
    assert rules()["scale bar"].months == 6
    assert proposals() == []


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"family": "rotary table"}, "need no calibration"),
        ({"method": "guess"}, "is no method"),
        ({"months": 2}, "between the shortest and the longest"),
        ({"extend_up_to_percent": 120}, "in that order"),
    ],
)
def test_a_rule_without_sense_is_refused(people, changes, message: str) -> None:
    with pytest.raises(NotAcceptable, match=message):
        set_rule(people, **({"method": "staircase"} | changes))
    assert not IntervalRule.objects.exists()


@given(
    steps=st.lists(st.integers(min_value=-200, max_value=200), min_size=2, max_size=8)
)
def test_shares_are_what_a_value_moved_between_calibrations(steps: list[int]) -> None:
    points, value = [], Decimal("1000")
    for place, step in enumerate([0, *steps]):
        value += Decimal(step) / 10000
        calibration = Calibration(pk=place + 1)
        day = date(2020, 1, 1) + timedelta(days=300 * place)
        points.append(Found(calibration, day, value, Decimal("0.002"), was_found=False))
    drift = Drift(
        device=Device(tag="SB-1"),
        label=A_TO_B,
        unit="µm",
        reference=points[0].value,
        reference_words="the first calibration",
        limit=Decimal("0.010"),
        points=points,
        since=0,
    )
    expected = [abs(step) / 100 for step in steps]
    assert shares_of_limit(drift) == pytest.approx(expected)
    picture = drift_picture(drift)
    assert len(picture.signs) == len(points)
    assert all(0 <= sign.x <= picture.width for sign in picture.signs)
    assert all(0 <= sign.y <= picture.height for sign in picture.signs)


# --- On the pages ---------------------------------------------------------------------


def test_the_pages_show_proposals_and_the_drift(people, bar, sign_in) -> None:
    drifting(people, bar)
    set_rule(people, "drift")
    client = sign_in(Client(), people.coordinator)
    listed = client.get(reverse("equipment:intervals")).content.decode()
    assert "a change" in listed
    shown = client.get(reverse("equipment:drift", args=[bar.tag])).content.decode()
    (drift,) = drifts_of(bar)
    assert f"not before {drift.earliest_on}" in shown
    assert "+18.2" in shown
    assert "<svg" in shown


def test_a_due_day_left_empty_is_the_proposed_one(people, bar, sign_in) -> None:
    set_rule(people, "fixed", months=18)
    client = sign_in(Client(), people.technician)
    page = reverse("equipment:calibrate", args=[bar.tag])
    assert "18 months after the calibration" in client.get(page).content.decode()
    typed = {
        "calibrated_on": "2026-03-02",
        "counts_from": "2026-03-05",
        "due_on": "",
        "certificate_number": "HC-2603",
        "provider": "Headland Calibration Service",
        "requirement_met": "on",
        "values-TOTAL_FORMS": "1",
        "values-INITIAL_FORMS": "0",
        "values-0-label": A_TO_B,
        "values-0-measurand": "length",
        "values-0-moment": "as left",
        "values-0-value_text": "1200.0471",
        "values-0-value_unit": "mm",
        "values-0-expanded_u_text": "2.8",
        "values-0-expanded_u_unit": "µm",
        "values-0-coverage_factor_text": "2",
        "values-0-temperature_text": "20",
        "values-0-temperature_unit": "°C",
    }
    assert client.post(page, typed).status_code == 302
    assert Calibration.objects.get().due_on == date(2027, 9, 2)


def test_a_rule_is_set_on_its_page(people, sign_in) -> None:
    page = reverse("equipment:set-rule")
    typed = {
        "family": "scale bar",
        "method": "drift",
        "months": 12,
        "shortest_months": 3,
        "longest_months": 24,
        "extend_up_to_percent": 50,
        "reduce_above_percent": 100,
        "in_a_row": 2,
        "reason": "Bars drift.",
    }
    client = sign_in(Client(), people.quality)
    assert client.post(page, typed | {"months": 30}).status_code == 400
    assert client.post(page, typed).status_code == 302
    assert rules()["scale bar"].method == "drift"
    offered = client.get(f"{page}?family=scale+bar").context["form"]
    assert offered["longest_months"].value() == 24
    assert sign_in(Client(), people.technician).get(page).status_code == 403


def test_a_requirement_is_set_on_its_page(people, bar, sign_in) -> None:
    client = sign_in(Client(), people.quality)
    page = reverse("equipment:require", args=[bar.tag])
    typed = {
        "statement": "Narrower budgets.",
        "label": A_TO_B,
        "limit_text": "NaN",
        "limit_unit": "µm",
    }
    assert client.post(page, typed).status_code == 400
    assert client.post(page, typed | {"limit_text": "12"}).status_code == 302
    assert str(bar.requirements.first().limit) == "12 µm"
