"""The air of a session by its room's loggers, weighted by time, pauses left out."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import numpy as np
import pytest

from lab.certificates.snapshot.evidence import room_conditions
from lab.common import clock
from lab.environment.services import place_sensor, store_readings
from lab.environment.times import us_of
from lab.jobs.climate import summary_of
from tests.chain import at, measured_job

pytestmark = pytest.mark.django_db


@pytest.fixture
def session(lab: Any) -> Any:
    """A job that was measured from nine to eleven, looked at from the evening."""
    _, made = measured_job(lab)
    with clock.set_to(at(18)):
        yield made


def log(lab: Any, session: Any, quantity: str, values: Any, minutes: int = 5) -> None:
    """Keep values from eight o'clock on, by the logger in the session's room."""
    place_sensor(
        sensor=lab.logger,
        room=session.room,
        since=at(0),
        acting_user=lab.people.technician,
    )
    step = timedelta(minutes=minutes)
    store_readings(
        sensor=lab.logger,
        quantity=quantity,
        times_us=[us_of(at(8) + n * step) for n in range(len(values))],
        values=values,
        source="a test",
        acting_user=lab.people.technician,
    )


def test_without_loggers_there_is_nothing_to_sum_up(lab, session) -> None:
    assert summary_of(session) is None
    assert room_conditions(session, "1")["summary"] == ""


def test_a_steady_ramp_has_its_own_mean_and_rate(lab, session) -> None:
    minutes = np.arange(0, 241, 5)
    log(lab, session, "temperature", np.round(20 + 0.4 * minutes / 60, 6).tolist())
    log(lab, session, "humidity", [47.0] * 49)
    found = summary_of(session)
    (one,) = found.sensors
    # From 20.4 °C at nine to 21.2 °C at eleven.
    assert one.temperature.mean == pytest.approx(20.8, abs=1e-6)
    assert one.temperature.lowest == pytest.approx(20.4, abs=1e-6)
    assert one.worst_rate_k_per_h == pytest.approx(0.4, abs=1e-6)
    assert one.temperature.share_inside == pytest.approx(1.0)
    assert one.count == 24
    row = room_conditions(session, "1")
    assert row["temperature"] == "20.4 °C to 21.2 °C"
    assert row["humidity"] == "47 %"
    assert "fastest change 0.40 K/h (slope over 60 min" in row["summary"]
    assert "100 % of the time read inside" in row["summary"]
    assert "no readings missing for over 15 min" in row["summary"]


def test_time_outside_and_time_unread_are_told_apart(lab, session) -> None:
    log(lab, session, "temperature", [20.0] * 13 + [23.0] * 6)  # until half past nine
    found = summary_of(session)
    (one,) = found.sensors
    assert one.temperature.share_covered == pytest.approx(0.25)
    assert 0.0 < one.temperature.share_inside < 0.25
    assert "readings missing for 90 min in all" in found.words
