"""Any order of events leaves what all records say, each finding with its one hold."""

from __future__ import annotations

import os

import pytest
from hypothesis import Phase, settings
from hypothesis.stateful import run_state_machine_as_test

from tests.chain import Lab, ready_job
from tests.lapses.random_days import RandomDays

DEEP = os.environ.get("HYPOTHESIS_PROFILE") == "deep"


@pytest.mark.django_db
def test_random_days_agree_with_the_pure_function(lab: Lab) -> None:
    jobs = [ready_job(lab, serials=[f"RR-1-{n}"]) for n in range(4)]

    class Days(RandomDays):
        pass

    Days.lab, Days.jobs = lab, jobs
    run_state_machine_as_test(
        Days,
        settings=settings(
            max_examples=60 if DEEP else 3,
            stateful_step_count=40 if DEEP else 20,
            # With a database below, shrinking takes many minutes.
            phases=[Phase.generate],
        ),
    )
