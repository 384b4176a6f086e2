"""The small lab of the thin chain, and a job in it that may be started."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

import pytest

from lab.common import clock
from lab.jobs.models import Job
from tests import chain

DAY = chain.FOUNDED
MORNING = datetime(2026, 3, 16, 8, tzinfo=UTC)
NOON = chain.at(12)


@pytest.fixture
def lab(people: Any) -> chain.Lab:
    return chain.found_lab(people)


@pytest.fixture
def ready_job(lab: chain.Lab) -> Job:
    """A job that may be started: agreed, its items here."""
    with clock.set_to(NOON):
        job = chain.book(lab)
        chain.agree(lab, job)
        chain.receive(lab, job, at=MORNING)
    return Job.objects.get(pk=job.pk)
