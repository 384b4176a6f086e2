"""A job that was measured, for the tests of its results."""

from __future__ import annotations

from typing import Any

import pytest

from lab.jobs.models import Job, MeasuringSession
from tests import chain


@pytest.fixture
def lab(people: Any) -> chain.Lab:
    return chain.found_lab(people)


@pytest.fixture
def measured(lab: chain.Lab) -> tuple[Job, MeasuringSession]:
    return chain.measured_job(lab)
