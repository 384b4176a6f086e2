"""A sensor's accepted corrections reach the room's readings, and not before."""

from __future__ import annotations

from datetime import timedelta

import pytest

from lab.common import clock
from lab.environment.selectors.corrections import corrections
from lab.equipment.services import accept_calibration
from tests.equipment.calibrated import (
    TODAY,
    add_logger,
    correction,
    found_laboratory,
    record,
)

pytestmark = pytest.mark.django_db


def test_corrections_are_used_when_accepted_and_while_current(people) -> None:
    found_laboratory()
    with clock.set_to(TODAY):
        logger = add_logger(people)
        day = TODAY.date() - timedelta(days=30)
        rows = [correction("15", "-0.05"), correction("25", "0.02")]
        made = record(people, logger, day, corrections=rows)
        assert corrections(logger, "temperature", TODAY) is None
        accept_calibration(
            calibration=made, words="As required.", acting_user=people.quality
        )
        found = corrections(logger, "temperature", TODAY)
        assert found.corrections.tolist() == [-0.05, 0.02]
        assert corrections(logger, "humidity", TODAY) is None
        assert corrections(logger, "temperature", TODAY + timedelta(days=400)) is None
