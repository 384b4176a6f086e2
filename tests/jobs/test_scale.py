"""Bars in view of a session: the tracker's scale tested, and kept with the session."""

from __future__ import annotations

from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from lab.common import clock
from lab.common.errors import NotAcceptable, NotAllowed
from lab.common.models import AuditEntry
from lab.jobs.models import Hold, ScaleTest
from lab.jobs.services import BarReading, record_scale_test
from lab.metrology.units import Quantity
from tests.chain import at, measured_job

pytestmark = pytest.mark.django_db


@pytest.fixture
def session(lab: Any) -> Any:
    _, made = measured_job(lab)
    with clock.set_to(at(12)):
        yield made


def bar(lab: Any, reading: str = "1200.036", degc: str = "20.0") -> BarReading:
    """Return the carbon-fibre bar of 1200.034 mm, U = 4 µm, as it was read."""
    return BarReading(
        value=lab.bar.calibrations.get().values.get(),
        reading=Quantity(reading, "mm"),
        reading_u=Quantity("3", "µm"),
        temperature=Quantity(degc, "°C"),
    )


def record(lab: Any, session: Any, *readings: BarReading, **changes: Any) -> ScaleTest:
    return record_scale_test(
        **{
            "session": session,
            "at": at(10),
            "thermometer": lab.thermometer,
            "readings": readings,
            "acting_user": lab.people.technician,
        }
        | changes
    )


def test_a_scale_within_its_uncertainty_stands(lab, session) -> None:
    made = record(lab, session, bar(lab))
    # 2 µm on 1200 mm, with u = √(2² + 3² + (1200·0.6e-6·0.1 K)²) µm.
    assert made.scale_error * 1200.034e3 == pytest.approx(2.0, abs=1e-4)
    assert made.u_scale * 1200.034e3 == pytest.approx(
        (4 + 9 + 0.072**2) ** 0.5, rel=1e-3
    )
    assert not made.is_significant
    assert made.is_consistent is None
    assert "no redundancy" in made.words
    assert not Hold.objects.filter(job=session.job).exists()
    entry = AuditEntry.objects.get(verb="session.scale_tested")
    assert "no redundancy" in entry.values_text


def test_a_bar_is_brought_to_its_own_temperature(lab, session) -> None:
    warm = record(lab, session, bar(lab, degc="25.0"))
    # 5 K · 0.6 µm/(m·K) · 1.2 m = 3.6 µm longer than at 20 °C.
    assert warm.scale_error * 1200.034e3 == pytest.approx(2.0 - 3.6, abs=1e-2)


def test_a_significant_scale_holds_the_job(lab, session) -> None:
    made = record(lab, session, bar(lab, reading="1200.064"))
    assert made.is_significant
    (hold,) = Hold.objects.filter(job=session.job)
    assert hold.title.startswith("Scale is off")
    assert hold.session == session


@pytest.mark.parametrize(
    ("changes", "match"),
    [
        ({"readings": ()}, "one bar at least"),
        ({"at": at(15)}, "future"),
    ],
)
def test_what_is_refused(lab, session, changes, match) -> None:
    with pytest.raises(NotAcceptable, match=match):
        record(lab, session, bar(lab), **changes)


def test_one_bar_twice_and_a_wrong_thermometer_are_refused(lab, session) -> None:
    with pytest.raises(NotAcceptable, match="one name"):
        record(lab, session, bar(lab), bar(lab))
    with pytest.raises(NotAcceptable, match="no contact thermometer"):
        record(lab, session, bar(lab), thermometer=lab.logger)
    with pytest.raises(NotAllowed):
        record(lab, session, bar(lab), acting_user=lab.people.coordinator)


def test_the_page_records_and_the_job_shows_it(lab, session, people, sign_in) -> None:
    client = sign_in(Client(), people.technician)
    address = reverse("jobs:scale", args=[session.pk])
    assert client.get(address).status_code == 200
    value = lab.bar.calibrations.get().values.get()
    typed = {
        "at": "2026-03-17T10:00",
        "thermometer": lab.thermometer.pk,
        "bar_1": value.pk,
        "reading_1_text": "1200.036",
        "reading_1_unit": "mm",
        "reading_u_1_text": "3",
        "reading_u_1_unit": "µm",
    }
    refused = client.post(address, typed)
    assert refused.status_code == 400
    assert b"needed for a bar" in refused.content
    full = typed | {"temperature_1_text": "20.1", "temperature_1_unit": "°C"}
    assert client.post(address, full).status_code == 302
    page = client.get(reverse("board:job", args=[session.job.number]))
    assert "Scale stands" in page.content.decode()
    assert sign_in(Client(), people.coordinator).get(address).status_code == 403
