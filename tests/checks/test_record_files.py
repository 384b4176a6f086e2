"""Recording a check from a pasted column, a file of readings, or measured points."""

from __future__ import annotations

import re
from typing import Any

import numpy as np
import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse

from lab.checks.models import ArtefactCheck
from lab.common import clock
from lab.common.files.models import StoredFile
from lab.common.models import AuditEntry
from tests.checks.conftest import at
from tests.checks.test_record_page import shown, typed

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def eight() -> Any:
    with clock.set_to(at(8)):
        yield


@pytest.fixture
def client(people, sign_in) -> Client:
    return sign_in(Client(), people.technician)


@pytest.fixture
def address(system, revision) -> str:
    return reverse("checks:record", args=[system.pk, "CP-01"])


def blank(meter: Any, count: int, **changes: Any) -> dict[str, Any]:
    """Return a form whose readings are not typed yet."""
    fields = {f"position_{n}_text": "" for n in range(count)}
    units = {f"position_{n}_unit": "mm" for n in range(count)}
    return typed(meter) | fields | units | changes


def upload(text: str, name: str = "readings.csv") -> SimpleUploadedFile:
    return SimpleUploadedFile(name, text.encode(), content_type="text/csv")


# --- A pasted column ----------------------------------------------------------------


def test_a_pasted_column_fills_the_fields_and_is_recorded(
    client, address, thermometer
) -> None:
    column = "1000.0473\r\n\r\n 1000.0330 \r\n"
    answer = client.post(address, blank(thermometer, 2, column=column))
    assert answer.status_code == 302
    read = ArtefactCheck.objects.get().readings.values_list("position", "measured_text")
    assert list(read) == [
        ("Along the room", "1000.0473"),
        ("Across the room", "1000.0330"),
    ]


def test_a_column_of_another_length_keeps_nothing(client, address, thermometer) -> None:
    answer = client.post(address, blank(thermometer, 2, column="1000.0473"))
    assert answer.status_code == 400
    assert "The column has 1 readings; the procedure prescribes 2." in shown(answer)
    assert not ArtefactCheck.objects.exists()


def test_a_wrong_number_in_a_column_is_said_beside_its_field(
    client, address, thermometer
) -> None:
    answer = client.post(address, blank(thermometer, 2, column="1000.0473\nNaN"))
    assert "finite" in " ".join(answer.context["form"].errors["position_1"])


# --- A file -------------------------------------------------------------------------


@pytest.fixture
def read(system, revision) -> str:
    return reverse("checks:read", args=[system.pk, "CP-01"])


def fields_of(answer: Any) -> dict[str, str]:
    """Return what the form on a page would send."""
    found = {}
    for tag in re.findall(r"<input[^>]*>", answer.content.decode()):
        name, value = re.search(r'name="(.*?)"', tag), re.search(r'value="(.*?)"', tag)
        if name and value:
            found[name[1]] = value[1]
    return found


def test_a_file_of_readings_fills_the_form_and_stays_with_the_check(
    client, address, read, thermometer
) -> None:
    file = upload(
        "position;reading\nAcross the room;1000.0330\nAlong the room;1000.0473"
    )
    page = client.post(read, blank(thermometer, 2, points=file))
    assert page.status_code == 200
    assert not ArtefactCheck.objects.exists()
    assert "Read from readings.csv: 2 readings as the file has them." in shown(page)
    assert "2 of 2 readings: all pass so far" in shown(page)
    filled = fields_of(page)
    assert filled["position_0_text"] == "1000.0473"
    client.post(address, blank(thermometer, 2) | filled)
    made = ArtefactCheck.objects.get()
    assert made.source == StoredFile.objects.get(original_name="readings.csv")
    assert AuditEntry.objects.filter(verb="check.file_read").count() == 1
    detail = client.get(reverse("checks:detail", args=[made.pk]))
    assert "2 readings as the file has them." in shown(detail)
    file = client.get(reverse("checks:source", args=[made.pk]))
    assert b"Across the room;1000.0330" in b"".join(file.streaming_content)


def test_a_reading_changed_after_the_file_is_refused(
    client, address, read, thermometer
) -> None:
    file = upload("1000.0473\n1000.0330")
    filled = fields_of(client.post(read, blank(thermometer, 2, points=file)))
    filled["position_1_text"] = "1000.0353"
    answer = client.post(address, blank(thermometer, 2) | filled)
    assert answer.status_code == 400
    assert "Across the room was read from readings.csv as 1000.0330" in shown(answer)
    forged = client.post(address, typed(thermometer, source="made:up:here"))
    assert "lost its file" in shown(forged)
    assert not ArtefactCheck.objects.exists()


def test_a_file_read_for_another_procedure_is_not_taken(
    client, read, system, size_revision, thermometer
) -> None:
    file = upload("1000.0473\n1000.0330")
    filled = fields_of(client.post(read, blank(thermometer, 2, points=file)))
    other = reverse("checks:record", args=[system.pk, "CP-02"])
    answer = client.post(other, blank(thermometer, 4, source=filled["source"]))
    assert "lost its file" in shown(answer)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("Sideways,1000", "names 'Sideways'"),
        ("<html><script>", "not a number"),
    ],
)
def test_a_file_that_cannot_be_read_is_refused_in_words(
    client, read, thermometer, text: str, message: str
) -> None:
    answer = client.post(read, blank(thermometer, 2, points=upload(text)))
    assert answer.status_code == 400
    assert message in answer.context["form"].errors["points"][0]
    assert not StoredFile.objects.exists()
    assert not ArtefactCheck.objects.exists()


def test_without_a_file_it_says_so(client, read, thermometer) -> None:
    answer = client.post(read, typed(thermometer))
    assert "Choose a file first." in shown(answer)
    assert client.get(read).status_code == 405


# --- Measured points ----------------------------------------------------------------


def cloud(diameter_mm: float, seed: int) -> np.ndarray:
    directions = np.random.default_rng(seed).normal(size=(80, 3))
    directions /= np.linalg.norm(directions, axis=1)[:, None]
    return np.array([100.0, -50.0, 800.0]) + diameter_mm / 2 * directions


def test_points_of_spheres_are_fitted_and_recorded(
    client, system, size_revision, thermometer
) -> None:
    rows = ["position,x,y,z"]
    for number, name in enumerate(["Near (1)", "Near (2)", "Far (1)", "Far (2)"]):
        points = cloud(25.01 + number / 1000, number)
        rows += [f"{name},{x:.7f},{y:.7f},{z:.7f}" for x, y, z in points]
    page = client.post(
        reverse("checks:read", args=[system.pk, "CP-02"]),
        blank(thermometer, 4, points=upload("\n".join(rows), "points.txt")),
    )
    assert "sphere of free radius through 80 points" in shown(page)
    record = reverse("checks:record", args=[system.pk, "CP-02"])
    answer = client.post(record, blank(thermometer, 4) | fields_of(page))
    assert answer.status_code == 302
    made = ArtefactCheck.objects.get()
    assert made.source_note.count("80 points") == 4
    read = {one.name: one.measured_mm for one in made.readings.all()}
    assert float(read["Near (1)"]) == pytest.approx(25.010, abs=2e-6)
    assert float(read["Far (2)"]) == pytest.approx(25.013, abs=2e-6)
    assert [one.repeat for one in made.readings.order_by("pk")] == [1, 2, 1, 2]


def test_one_failing_repeat_fails_the_check(
    client, system, size_revision, thermometer
) -> None:
    """The sphere has 25.0008 · (1 + 5.5e-6 · 2) = 25.00108 mm; 31 µm are too much."""
    texts = ["25.0011", "25.0011", "25.0322", "25.0011"]
    record = reverse("checks:record", args=[system.pk, "CP-02"])
    client.post(record, blank(thermometer, 4, column="\n".join(texts)))
    made = ArtefactCheck.objects.get()
    assert made.verdict == "fail"
    assert "Far (1)" in made.reason
