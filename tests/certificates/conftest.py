"""The lab, and a job whose papers can be written."""

from __future__ import annotations

from typing import Any

import pytest

from lab.jobs.models import Job
from tests import chain


@pytest.fixture
def lab(people: Any) -> chain.Lab:
    return chain.found_lab(people)


@pytest.fixture
def job(lab: chain.Lab) -> Job:
    """An evaluated job, its session bracketed by passed checks."""
    return chain.certifiable_job(lab)


#: Scripts for child processes; importing them here would set up Django twice.
collect_ignore = ["probe"]
