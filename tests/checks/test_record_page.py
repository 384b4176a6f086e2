"""Recording a check on a page: with the script and without, once, and refusals."""

from __future__ import annotations

import re
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from lab.checks.models import ArtefactCheck
from lab.common import clock
from lab.common.models import AuditEntry
from tests.checks.conftest import at, revise

pytestmark = pytest.mark.django_db
HTMX = {"HTTP_HX_REQUEST": "true"}


def typed(meter: Any, **changes: str) -> dict[str, str]:
    """Return the pass of the conftest as it is typed: +12.0 µm and -2.3 µm."""
    return {
        "artefact_temperature_text": "22.0",
        "artefact_temperature_unit": "°C",
        "thermometer": str(meter.pk),
        "started_at": "2026-03-17T07:40",
        "ended_at": "2026-03-17T08:00",
        "form_key": "6f1b7c1e-0d5e-4f8a-9a55-1f3f5b0f7a01",
        "revision_number": "1",
        "position_0_text": "1000.0473",
        "position_0_unit": "mm",
        "position_1_text": "1000.0330",
        "position_1_unit": "mm",
    } | changes


@pytest.fixture(autouse=True)
def eight() -> Any:
    with clock.set_to(at(8)):
        yield


@pytest.fixture
def address(system, revision) -> str:
    return reverse("checks:record", args=[system.pk, "CP-01"])


@pytest.fixture
def trial(system, revision) -> str:
    return reverse("checks:try", args=[system.pk, "CP-01"])


@pytest.fixture
def client(people, sign_in) -> Client:
    return sign_in(Client(), people.technician)


def shown(response: Any) -> str:
    """Return the text of a page without its marks."""
    return " ".join(re.sub(r"<[^>]+>", " ", response.content.decode()).split())


def test_the_form_begins_with_now_and_a_key_of_its_own(
    client, address, thermometer
) -> None:
    first, second = client.get(address), client.get(address)
    start = first.context["form"].initial
    assert (start["started_at"], start["ended_at"]) == (at(7, 45), at(8))
    assert start["thermometer"] == thermometer.pk
    assert start["form_key"] != second.context["form"].initial["form_key"]
    text = shown(first)
    assert "Along the room" in text
    assert "Limit 20 µm + 20 µm per metre" in text
    # The readings have one unit and no choice of it.
    for name in ("position_0_unit", "position_1_unit"):
        hidden = f'<input type="hidden" name="{name}" value="mm"'
        assert hidden in first.content.decode()


def test_the_next_form_begins_with_what_the_last_check_had(
    client, address, thermometer
) -> None:
    client.post(address, typed(thermometer))
    with clock.set_to(at(17)):
        start = client.get(address).context["form"].initial
    assert (start["started_at"], start["ended_at"]) == (at(16, 40), at(17))
    assert start["thermometer"] == thermometer.pk


def test_a_check_is_recorded_and_shown_with_its_numbers(
    client, address, people, thermometer
) -> None:
    answer = client.post(address, typed(thermometer))
    made = ArtefactCheck.objects.get()
    assert answer.status_code == 302
    assert answer["Location"] == reverse("checks:detail", args=[made.pk])
    assert (made.started_at, made.ended_at) == (at(7, 40), at(8))
    assert AuditEntry.objects.get(verb="check.recorded").actor == people.technician
    text = shown(client.get(answer["Location"]))
    assert "Along the room 1000.0473 mm 1000.0353 mm +12.0 µm 40.0 µm" in text
    assert "1.9 µm 30 % Passed" in text
    assert "HC-SB-1-2601" in text


def test_a_second_click_makes_no_second_check(client, address, thermometer) -> None:
    first = client.post(address, typed(thermometer))
    second = client.post(address, typed(thermometer))
    assert first["Location"] == second["Location"]
    assert ArtefactCheck.objects.count() == 1


@pytest.mark.parametrize(
    ("changes", "field", "message"),
    [
        ({"position_0_text": "NaN"}, "position_0", "finite"),
        ({"position_0_text": ""}, "position_0", "Type a number"),
        ({"position_0_text": "1.000,0473"}, "position_0", "thousands"),
        ({"position_0_text": "-1000"}, "position_0", "not above zero"),
        ({"position_1_unit": "kg"}, "position_1", "Choose one of the units"),
        ({"position_1_unit": "in"}, "position_1", "Choose one of the units"),
        ({"artefact_temperature_text": "inf"}, "artefact_temperature", "finite"),
        ({"artefact_temperature_text": "293"}, "artefact_temperature", "150"),
        ({"artefact_temperature_unit": "mm"}, "artefact_temperature", "Choose one"),
        ({"thermometer": "0"}, "thermometer", "valid choice"),
        ({"started_at": "soon"}, "started_at", "valid date"),
        ({"ended_at": "2026-03-17T07:30"}, "ended_at", "before it starts"),
        ({"ended_at": "2026-03-17T08:10"}, "ended_at", "future"),
        ({"form_key": "mine"}, None, "no key of its own"),
        ({"revision_number": ""}, None, "made for another"),
    ],
)
def test_nonsense_keeps_nothing_and_says_why_beside_its_field(
    client,
    address,
    thermometer,
    changes: dict[str, str],
    field: str | None,
    message: str,
) -> None:
    answer = client.post(address, typed(thermometer, **changes))
    assert answer.status_code == 400
    errors = answer.context["form"].errors
    assert message in " ".join(errors[field or "__all__"])
    assert message in shown(answer)
    assert 'value="1000.0330"' in answer.content.decode()
    assert not ArtefactCheck.objects.exists()


def test_a_form_of_an_earlier_revision_is_opened_anew(
    client, address, people, revision, bar, thermometer
) -> None:
    """Its fields go by their places, and the new one measures in another order."""
    revise(people, revision.procedure, bar, positions=["Across the room", "Upright"])
    answer = client.post(address, typed(thermometer))
    assert answer.status_code == 400
    assert "CP-01 revision 2 counts now" in shown(answer)
    assert not ArtefactCheck.objects.exists()


# --- While typing -------------------------------------------------------------------


def test_verdicts_are_said_while_typing_and_nothing_is_kept(
    client, trial, thermometer
) -> None:
    """The bar is 1000.0353 mm long; 1000.0800 mm errs by 44.7 µm, 112 % of 40 µm."""
    answer = client.post(trial, typed(thermometer, position_1_text="1000.08"), **HTMX)
    assert answer.status_code == 200
    assert shown(answer) == (
        "2 of 2 readings: Across the room failed "
        "Along the room: passed error +12.0 µm, 30 % of the limit of 40.0 µm "
        "Across the room: failed error +44.7 µm, 112 % of the limit of 40.0 µm"
    )
    assert not ArtefactCheck.objects.exists()
    assert not AuditEntry.objects.filter(verb__startswith="check.").exists()


def test_a_half_typed_form_is_judged_as_far_as_it_goes(
    client, trial, thermometer
) -> None:
    half = typed(thermometer, position_1_text="", ended_at="", thermometer="")
    said = shown(client.post(trial, half, **HTMX))
    assert said.startswith("1 of 2 readings: all pass so far Along the room: passed")
    none = typed(thermometer, position_0_text="", position_1_text="NaN")
    assert shown(client.post(trial, none, **HTMX)) == "No position is typed yet."
    cold = typed(thermometer, artefact_temperature_text="")
    assert "temperature of the artefact first" in shown(
        client.post(trial, cold, **HTMX)
    )


def test_without_the_script_the_whole_page_says_it(client, trial, thermometer) -> None:
    answer = client.post(trial, typed(thermometer))
    assert answer.status_code == 200
    assert "Along the room: passed error +12.0 µm" in shown(answer)
    assert 'value="1000.0473"' in answer.content.decode()
    assert not ArtefactCheck.objects.exists()


def test_an_artefact_without_calibration_is_said_while_typing(
    client, trial, thermometer
) -> None:
    late = typed(thermometer, started_at="2025-03-17T07:40")
    assert "no current calibration" in shown(client.post(trial, late, **HTMX))


# --- Who, and how -------------------------------------------------------------------


def test_who_may_record(people, sign_in, address, trial, thermometer) -> None:
    for person in (people.coordinator, people.administrator, people.client):
        client = sign_in(Client(), person)
        assert client.get(address).status_code == 403
        assert client.post(address, typed(thermometer)).status_code == 403
        assert client.post(trial, typed(thermometer), **HTMX).status_code == 403
    assert Client().post(address, typed(thermometer)).status_code == 302
    assert not ArtefactCheck.objects.exists()


def test_what_is_not_there_is_not_found(client, system, revision) -> None:
    for pk, code in ((system.pk, "CP-77"), (system.pk + 1, "CP-01")):
        assert client.get(reverse("checks:record", args=[pk, code])).status_code == 404


def test_a_trial_is_posted_only(client, trial) -> None:
    assert client.get(trial).status_code == 405
