"""A recorded calibration counts when a person has accepted it, and not before."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from django.test import Client
from django.urls import reverse

from lab.common import clock
from lab.common.errors import NotAcceptable, NotAllowed, WrongState
from lab.common.models import AuditEntry, WorkItem
from lab.equipment.models import Calibration, CalibrationAcceptance, Device
from lab.equipment.references import sensor_calibration, value_at_20_mm
from lab.equipment.requirements import comparisons, requirement_of
from lab.equipment.selectors import calibration_spans, current_calibration, standings
from lab.equipment.services import (
    accept_calibration,
    reject_calibration,
    set_requirement,
)
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
    record,
)

pytestmark = pytest.mark.django_db
MARCH = date(2026, 3, 2)


@pytest.fixture(autouse=True)
def today():
    found_laboratory()
    with clock.set_to(TODAY):
        yield


@pytest.fixture
def bar(people) -> Device:
    return add_bar(people)


def word(device: Device) -> str:
    return standings(Device.objects.filter(pk=device.pk))[0].word


def require(people, bar: Device, **limits):
    return set_requirement(
        device=bar,
        statement="The length holds for the budgets.",
        acting_user=people.quality,
        **({"label": A_TO_B, "limit": Quantity("10", "µm")} | limits),
    )


def test_a_recorded_calibration_is_out_of_use_until_accepted(people, bar) -> None:
    old = accepted(people, bar, date(2025, 6, 2))
    assert current_calibration(bar, TODAY) == old
    new = record(people, bar, MARCH)
    assert current_calibration(bar, TODAY) is None
    assert word(bar) == "Waits for acceptance"
    # What was measured by the old one before stays as it was.
    (span,) = calibration_spans([bar])
    assert span.key == f"calibration:{old.pk}"

    accept_calibration(calibration=new, words="Within it.", acting_user=people.quality)
    assert current_calibration(bar, TODAY) == new
    assert current_calibration(bar, TODAY - timedelta(days=40)) == old
    assert word(bar) == "Calibrated"
    first, second = calibration_spans([bar])
    assert first.end == second.start
    entry = AuditEntry.objects.filter(verb="calibration.accepted").latest("pk")
    assert (entry.actor, entry.reason) == (people.quality, "Within it.")
    assert WorkItem.objects.filter(kind="lapses.judge_device").exists()


def test_the_person_who_recorded_may_accept_in_an_act_of_its_own(people, bar) -> None:
    made = record(people, bar, MARCH, acting_user=people.quality)
    accept_calibration(calibration=made, words="Yes.", acting_user=people.quality)
    verbs = AuditEntry.objects.filter(actor=people.quality).values_list("verb")
    assert ("calibration.recorded",) in verbs
    assert ("calibration.accepted",) in verbs


def test_not_everybody_accepts(people, bar) -> None:
    made = record(people, bar, MARCH)
    with pytest.raises(NotAllowed):
        accept_calibration(
            calibration=made, words="Yes.", acting_user=people.technician
        )
    assert not CalibrationAcceptance.objects.exists()


def test_a_decision_is_taken_once(people, bar) -> None:
    made = accepted(people, bar, MARCH)
    for act in (accept_calibration, reject_calibration):
        with pytest.raises(WrongState, match="decided on already"):
            act(calibration=made, words="Again.", acting_user=people.quality)


def test_a_rejected_calibration_leaves_the_device_without_one(people, bar) -> None:
    accepted(people, bar, date(2025, 6, 2))
    bad = record(people, bar, MARCH)
    reject_calibration(calibration=bad, words="Too far.", acting_user=people.quality)
    assert current_calibration(bar, TODAY) is None
    assert word(bar) == "Requirement not met"
    (span,) = calibration_spans([bar])
    assert span.end.date() == MARCH


def test_one_that_misses_the_requirement_can_t_be_accepted(people, bar) -> None:
    made = record(people, bar, MARCH, requirement_met=False)
    with pytest.raises(NotAcceptable, match="recorded as not meeting"):
        accept_calibration(calibration=made, words="Still.", acting_user=people.quality)
    assert word(bar) == "Requirement not met"


def test_a_length_that_moved_too_far_can_t_be_accepted(people, bar) -> None:
    require(people, bar)
    accepted(people, bar, date(2025, 3, 3))
    made = record(people, bar, MARCH, values=[length("1200.0527")])
    with pytest.raises(NotAcceptable, match=r"\+11 µm from 1200.0417 mm; 10 µm"):
        accept_calibration(calibration=made, words="Fine.", acting_user=people.quality)
    edge = record(
        people,
        bar,
        MARCH + timedelta(days=1),
        values=[length("1200.0517")],
        certificate_number="HC-2",
    )
    accept_calibration(calibration=edge, words="Edge.", acting_user=people.quality)
    assert edge.acceptance.findings.startswith("met: Length A–B, as left: +10 µm")


def test_an_uncertainty_that_is_too_large_can_t_be_accepted(people, bar) -> None:
    require(people, bar, largest_u=Quantity("2", "µm"))
    made = record(people, bar, MARCH)
    with pytest.raises(NotAcceptable, match=r"U = 2\.8 µm; 2 µm is permitted"):
        accept_calibration(calibration=made, words="Fine.", acting_user=people.quality)


def test_a_certificate_without_the_required_value_can_t_be_accepted(
    people, bar
) -> None:
    require(people, bar)
    made = record(people, bar, MARCH, values=[length(label="Length B–C")])
    with pytest.raises(NotAcceptable, match="states no “Length A–B”"):
        accept_calibration(calibration=made, words="Fine.", acting_user=people.quality)


def test_a_form_is_compared_as_it_is(people, bar) -> None:
    require(people, bar, label="", limit=Quantity("1", "µm"))
    form = length("0.0012", label="Form", measurand="form")
    made = record(people, bar, MARCH, values=[form])
    (found,) = comparisons(made, requirement_of(bar))
    assert (found.words, found.is_met) == ("Form: 1.2 µm; 1 µm is permitted.", False)


def test_a_value_at_another_temperature_is_compared_at_20_degrees(people, bar) -> None:
    """1200.0831 mm at 23 °C is 1200.0417 mm at 20 °C for α = 11.5e-6/K."""
    require(people, bar, reference=Quantity("1200.0417", "mm"))
    warm = length("1200.0831", temperature=Quantity("23", "°C"))
    made = accepted(people, bar, MARCH, values=[warm])
    at_20 = value_at_20_mm(made.values.select_related("calibration__device").get())
    assert float(at_20) == pytest.approx(1200.0417, abs=5e-6)


def test_a_sensor_s_corrections_are_kept_and_compared(people) -> None:
    logger = add_logger(people)
    set_requirement(
        device=logger,
        statement="Small corrections.",
        largest_correction=Quantity("0.1", "K"),
        acting_user=people.quality,
    )
    rows = [correction("25", "0.12"), correction("15", "-0.05")]
    made = record(people, logger, MARCH, corrections=rows)
    with pytest.raises(NotAcceptable, match=r"correction 0\.12 K; 0\.1 K is permitted"):
        accept_calibration(calibration=made, words="Fine.", acting_user=people.quality)
    found = sensor_calibration(made)
    assert found.readings.tolist() == [15.0, 25.0]
    assert found.corrections.tolist() == [-0.05, 0.12]
    assert found.u.tolist() == [0.02, 0.02]


@pytest.mark.parametrize(
    ("rows", "message"),
    [
        ([correction("20", "20.05")], "reference minus reading"),
        ([correction(), correction()], "have one name, or one reading"),
    ],
)
def test_corrections_without_sense_are_refused(people, rows, message: str) -> None:
    logger = add_logger(people)
    with pytest.raises(NotAcceptable, match=message):
        record(people, logger, MARCH, corrections=rows)
    assert not Calibration.objects.exists()


def test_only_a_sensor_has_corrections(people, bar) -> None:
    with pytest.raises(NotAcceptable, match="no thermometer and no logger"):
        record(people, bar, MARCH, corrections=[correction()])


@pytest.mark.parametrize("text", ["0", "-5"])
def test_no_length_is_zero_or_less(people, bar, text: str) -> None:
    with pytest.raises(NotAcceptable, match="can't be a length"):
        record(people, bar, MARCH, values=[length(text)])


def test_a_correction_of_a_recording_is_decided_on_anew(people, bar) -> None:
    wrong = accepted(people, bar, MARCH)
    with pytest.raises(NotAcceptable) as refusal:
        record(people, bar, MARCH, supersedes=wrong)
    assert refusal.value.field == "reason"
    right = record(people, bar, MARCH, supersedes=wrong, reason="A digit was mistyped.")
    assert current_calibration(bar, TODAY) is None
    with pytest.raises(WrongState):
        record(people, bar, MARCH, supersedes=wrong, reason="Again.")
    accept_calibration(calibration=right, words="Yes.", acting_user=people.quality)
    assert current_calibration(bar, TODAY) == right


def test_a_recording_that_was_corrected_can_t_be_accepted(people, bar) -> None:
    wrong = record(people, bar, MARCH)
    record(people, bar, MARCH, supersedes=wrong, reason="A slip of the pen.")
    with pytest.raises(WrongState, match="corrected meanwhile"):
        accept_calibration(calibration=wrong, words="Yes.", acting_user=people.quality)


def test_a_recording_corrects_none_of_another_device(people, bar) -> None:
    other = record(people, add_bar(people, "SB-9"), MARCH)
    with pytest.raises(NotAcceptable, match="of another device"):
        record(people, bar, MARCH, supersedes=other, reason="A slip of the pen.")


@pytest.mark.parametrize(
    ("limits", "message"),
    [
        ({"limit": Quantity("0", "µm")}, "above zero"),
        ({"label": "", "reference": Quantity("1200", "mm")}, "Name the value"),
    ],
)
def test_a_requirement_without_sense_is_refused(people, bar, limits, message) -> None:
    with pytest.raises(NotAcceptable, match=message):
        require(people, bar, **limits)
    assert requirement_of(bar) is None


# --- Through the pages ----------------------------------------------------------------


def test_a_calibration_is_accepted_on_its_page_once(people, bar, sign_in) -> None:
    made = record(people, bar, MARCH)
    client = sign_in(Client(), people.quality)
    page = reverse("equipment:decide", args=[made.pk])
    assert "No requirement is set" in client.get(page).content.decode()
    typed = {"decision": "accept", "words": "Within what we require."}
    assert client.post(page, typed).status_code == 302
    assert client.post(page, typed).status_code == 400
    assert CalibrationAcceptance.objects.get().accepted
    shown = client.get(reverse("equipment:calibration", args=[made.pk]))
    assert "Within what we require." in shown.content.decode()


def test_a_refusal_stands_beside_the_form(people, bar, sign_in) -> None:
    require(people, bar, largest_u=Quantity("2", "µm"))
    made = record(people, bar, MARCH)
    client = sign_in(Client(), people.quality)
    page = reverse("equipment:decide", args=[made.pk])
    assert "not met" in client.get(page).content.decode()
    answer = client.post(page, {"decision": "accept", "words": "Fine."})
    assert answer.status_code == 400
    assert "2 µm is permitted" in answer.content.decode()
    rejected = client.post(page, {"decision": "reject", "words": "Too uncertain."})
    assert rejected.status_code == 302
    assert not CalibrationAcceptance.objects.get().accepted


def test_a_recording_is_corrected_on_its_page(people, bar, sign_in) -> None:
    wrong = record(people, bar, MARCH)
    client = sign_in(Client(), people.technician)
    page = reverse("equipment:correct", args=[wrong.pk])
    form = client.get(page)
    assert "1200.0417" in form.content.decode()
    typed = {
        "calibrated_on": "2026-03-02",
        "counts_from": "2026-03-02",
        "due_on": "2027-03-02",
        "certificate_number": "HC-2603",
        "provider": "Headland Calibration Service",
        "requirement_met": "on",
        "reason": "A digit was mistyped.",
        "values-TOTAL_FORMS": "1",
        "values-INITIAL_FORMS": "1",
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
    assert client.post(page, typed | {"reason": ""}).status_code == 400
    assert client.post(page, typed).status_code == 302
    made = Calibration.objects.get(supersedes=wrong)
    assert str(made.values.get().value) == "1200.0471 mm"
    assert client.post(page, typed).status_code == 400
    shown = client.get(reverse("equipment:calibration", args=[wrong.pk]))
    assert "corrected" in shown.content.decode()


def test_who_may_decide(people, bar, sign_in) -> None:
    made = record(people, bar, MARCH)
    page = reverse("equipment:decide", args=[made.pk])
    assert sign_in(Client(), people.technician).get(page).status_code == 403
    assert sign_in(Client(), people.client).get(page).status_code == 403
    missing = reverse("equipment:decide", args=[made.pk + 1])
    assert sign_in(Client(), people.quality).get(missing).status_code == 404
