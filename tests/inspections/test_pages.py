"""Results through the pages: typed in the grid, shown, corrected."""

from __future__ import annotations

from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from lab.common import clock
from lab.common.models import AuditEntry
from lab.inspections.models import Decision, Result
from tests import chain

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _afternoon():
    with clock.set_to(chain.at(13)):
        yield


@pytest.fixture
def technician(sign_in, people) -> Client:
    return sign_in(Client(), people.technician)


def typed(lab, job, session, **changes: Any) -> dict[str, Any]:
    """Return what a browser posts of a wholly filled grid."""
    fields: dict[str, Any] = {
        "session": session.pk,
        "evaluated_by": lab.people.technician.pk,
        "temperature_state": "at 20 °C",
        "uncertainty_basis": "Components: noise, scale, temperatures, fit",
        "software": "In-house evaluation 3.1",
    }
    for entry in chain.entries(lab, job):
        prefix = f"r{entry.item.pk}-{entry.characteristic.pk}"
        for name in ("value_text", "expanded_u_text", "coverage_factor_text"):
            fields[f"{prefix}-{name}"] = getattr(entry, name)
        if entry.characteristic.non_negative:
            for name in ("number_of_points", "filter_text", "association"):
                fields[f"{prefix}-{name}"] = getattr(entry, name)
    return fields | changes


def key(lab, job, number: str = "1") -> str:
    return f"r{job.items.first().pk}-{lab.characteristics[number].pk}"


def page(name: str, job) -> str:
    return reverse(f"inspections:{name}", args=[job.number])


def test_a_grid_is_typed_recorded_and_shown(lab, measured, technician) -> None:
    job, session = measured
    shown = technician.get(page("record", job))
    assert shown.status_code == 200
    assert shown.content.decode().count("<tbody") == 6
    answer = technician.post(page("record", job), typed(lab, job, session))
    assert answer.status_code == 302
    assert answer.url == page("results", job)
    assert Result.objects.count() == 6
    text = technician.get(answer.url).content.decode()
    assert text.count("pass</span>") == 6
    assert "1000.012 mm" in text
    assert "Missing" not in text
    assert (
        b"Every characteristic has its result"
        in technician.get(page("record", job)).content
    )


def test_empty_rows_are_passed_over_and_half_typed_ones_refused(
    lab, measured, technician
) -> None:
    job, session = measured
    fields = typed(lab, job, session)
    prefix = key(lab, job)
    half = fields | {f"{prefix}-expanded_u_text": ""}
    answer = technician.post(page("record", job), half)
    assert answer.status_code == 400
    assert "This field is required" in answer.content.decode()
    assert not Result.objects.exists()
    empty = half | {f"{prefix}-value_text": ""}
    assert technician.post(page("record", job), empty).status_code == 302
    assert Result.objects.count() == 5
    rest = technician.get(page("record", job)).content.decode()
    assert rest.count("<tbody") == 1


@pytest.mark.parametrize(
    ("field", "value", "sentence"),
    [
        ("value_text", "NaN", "NaN"),
        ("value_text", "1,000.5", "1,000.5"),
        ("expanded_u_text", "-1", "above zero"),
        ("expanded_u_text", "0.2", "No value could be accepted"),
        ("coverage_factor_text", "0", "outside 1.6 to 13"),
    ],
)
def test_what_is_wrong_stands_in_its_row(
    lab, measured, technician, field: str, value: str, sentence: str
) -> None:
    job, session = measured
    changes = {f"{key(lab, job)}-{field}": value}
    answer = technician.post(page("record", job), typed(lab, job, session, **changes))
    assert answer.status_code == 400
    text = answer.content.decode()
    row = text[text.index(f'id="{key(lab, job)}-verdict"') :]
    assert sentence in row[: row.index("</td>")]
    assert not Result.objects.exists()


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        ({"temperature_state": ""}, "This field is required"),
        ({"temperature_state": "cold"}, "Select a valid choice"),
        ({"session": ""}, "say in which session"),
        ({"software": "tbd"}, "only holds the place"),
        ({"evaluated_by": ""}, "This field is required"),
    ],
)
def test_what_is_said_of_all_is_checked(
    lab, measured, technician, changes, sentence: str
) -> None:
    job, session = measured
    answer = technician.post(page("record", job), typed(lab, job, session) | changes)
    assert answer.status_code == 400
    assert sentence in answer.content.decode()
    assert not Result.objects.exists()


def test_nothing_typed_is_nothing_recorded(lab, measured, technician) -> None:
    job, session = measured
    fields = {k: v for k, v in typed(lab, job, session).items() if "-" not in k}
    answer = technician.post(page("record", job), fields)
    assert answer.status_code == 400
    assert "at least one value" in answer.content.decode()


def test_a_row_says_what_it_would_be_and_stores_nothing(
    lab, measured, technician
) -> None:
    job, session = measured
    entries = AuditEntry.objects.count()
    fields = typed(lab, job, session) | {"row": key(lab, job)}
    answer = technician.post(page("try", job), fields, headers={"HX-Request": "true"})
    text = answer.content.decode()
    assert answer.status_code == 200
    assert "pass" in text
    assert "(1000.012 ± 0.040) mm" in text
    assert "<html" not in text
    failing = fields | {f"{key(lab, job)}-value_text": "1000.09"}
    assert "fail" in technician.post(page("try", job), failing).content.decode()
    unsaid = fields | {"temperature_state": ""}
    assert (
        "nobody can tell later"
        in technician.post(page("try", job), unsaid).content.decode()
    )
    half = fields | {f"{key(lab, job)}-expanded_u_text": ""}
    assert technician.post(page("try", job), half).content.strip() == b""
    unknown = fields | {"row": "r0-0"}
    assert technician.post(page("try", job), unknown).status_code == 404
    assert not Result.objects.exists()
    assert not Decision.objects.exists()
    assert AuditEntry.objects.count() == entries


def test_a_result_tells_its_story_and_is_corrected(
    lab, people, measured, technician
) -> None:
    job, session = measured
    result = chain.record(lab, job, session)[0]
    detail = reverse("inspections:detail", args=[result.pk])
    text = technician.get(detail).content.decode()
    assert "guarded acceptance with guard band" in text
    assert "999.940 mm to 1000.060 mm" in text
    correct = reverse("inspections:correct", args=[result.pk])
    assert "1000.012" in technician.get(correct).content.decode()
    fields = {
        "session": session.pk,
        "value_text": "1000.07",
        "expanded_u_text": "0.04",
        "coverage_factor_text": "2",
        "temperature_state": "at 20 °C",
        "uncertainty_basis": "Components",
        "software": "In-house evaluation 3.1",
        "reason": "",
    }
    assert technician.post(correct, fields).status_code == 400
    fields["reason"] = "Evaluated with the wrong datum."
    answer = technician.post(correct, fields)
    assert answer.status_code == 302
    again = technician.post(correct, fields)
    assert again.status_code == 400
    assert "corrected already" in again.content.decode()
    text = technician.get(answer.url).content.decode()
    assert "fail" in text
    assert "Evaluated with the wrong datum." in text
    assert "see the one in its place" in technician.get(detail).content.decode()


def test_a_form_is_corrected_with_its_points(lab, measured, technician) -> None:
    job, session = measured
    result = chain.record(lab, job, session)[1]
    correct = reverse("inspections:correct", args=[result.pk])
    shown = technician.get(correct).content.decode()
    assert 'name="number_of_points"' in shown
    fields = {
        "session": session.pk,
        "value_text": "0.04",
        "expanded_u_text": "0.02",
        "coverage_factor_text": "2",
        "number_of_points": "1200",
        "filter_text": "none",
        "association": "minimum zone",
        "temperature_state": "at 20 °C",
        "uncertainty_basis": "Components",
        "software": "In-house evaluation 3.1",
        "reason": "Half of the points lay on another face.",
    }
    assert technician.post(correct, fields).status_code == 302
    made = Result.objects.get(supersedes=result)
    assert made.number_of_points == 1200


def test_the_evaluation_is_finished_by_a_button(lab, measured, technician) -> None:
    job, session = measured
    finish = page("finish", job)
    assert technician.get(finish).status_code == 405
    assert technician.post(finish).status_code == 409
    chain.record(lab, job, session)
    assert technician.post(finish).status_code == 302
    job.refresh_from_db()
    assert job.state == "evaluated"
    assert technician.post(finish).status_code == 409


def test_results_are_decided_anew_by_a_button(lab, measured, technician) -> None:
    job, session = measured
    chain.record(lab, job, session)
    chain.agree(lab, job, rule=lab.simple)
    decide = page("decide", job)
    assert technician.get(decide).status_code == 405
    assert technician.post(decide).status_code == 302
    assert Decision.objects.count() == 12
    assert technician.post(decide).status_code == 302
    assert Decision.objects.count() == 12


def test_who_sees_and_who_types(lab, people, measured, sign_in) -> None:
    job, session = measured
    result = chain.record(lab, job, session)[0]
    reader = sign_in(Client(), people.coordinator)
    assert reader.get(page("results", job)).status_code == 200
    assert "Record results" not in reader.get(page("results", job)).content.decode()
    detail = reverse("inspections:detail", args=[result.pk])
    assert reader.get(detail).status_code == 200
    for name in ("record", "try", "finish", "decide"):
        assert reader.post(page(name, job), {}).status_code == 403
    assert (
        reader.get(reverse("inspections:correct", args=[result.pk])).status_code == 403
    )
    client = sign_in(Client(), people.client)
    assert client.get(page("results", job)).status_code == 403
    assert client.get(detail).status_code == 403
    nobody = Client().get(page("results", job))
    assert nobody.status_code == 302


def test_what_is_not_there_is_not_found(lab, measured, technician) -> None:
    for name in ("results", "record"):
        address = reverse(f"inspections:{name}", args=["J1999-0001"])
        assert technician.get(address).status_code == 404
    assert technician.get(reverse("inspections:detail", args=[9999])).status_code == 404


def test_a_large_job_is_typed_item_by_item(lab, measured, technician) -> None:
    job, _ = measured
    first, second = job.items.all()
    address = f"{page('record', job)}?item={second.pk}"
    text = technician.get(address).content.decode()
    assert text.count("<tbody") == 3
    assert f"r{second.pk}-" in text
    assert f"r{first.pk}-" not in text


def test_the_list_of_results_asks_few_questions(
    lab, measured, technician, django_assert_max_num_queries
) -> None:
    job, session = measured
    chain.record(lab, job, session)
    with django_assert_max_num_queries(20):
        assert technician.get(page("results", job)).status_code == 200
