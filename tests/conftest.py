"""What every test stands on: fences around flushes, profiles, and honest skips."""

from __future__ import annotations

import os
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import pytest
from django.db import connections
from django.test import TransactionTestCase
from hypothesis import HealthCheck, settings

from lab.common import fences

PROJECT = Path(__file__).resolve().parent.parent
SHARED_DATA = PROJECT.parent / "shared" / "data"
REQUIRED = {word for word in os.environ.get("UNBROKEN_REQUIRE", "").split(",") if word}

settings.register_profile(
    "ci",
    max_examples=25,
    deadline=None,
    derandomize=True,
    suppress_health_check=[HealthCheck.too_slow],
)
settings.register_profile("deep", max_examples=1000, deadline=None)
settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE", "ci"))


def skip_unless(condition: object, need: str, reason: str) -> None:
    """Skip a test for want of something; where it is required, fail instead."""
    if condition:
        return
    if need in REQUIRED:
        pytest.fail(f"{need} is required here, and {reason}")
    pytest.skip(reason)


@pytest.fixture(scope="session")
def shared_data() -> Callable[[str], Path]:
    """Return a finder of real files that the licences forbid committing."""

    def find(name: str) -> Path:
        path = SHARED_DATA / name
        skip_unless(path.exists(), "shared", f"the real file {name} is not here.")
        return path

    return find


@pytest.fixture
def noon() -> datetime:
    """An ordinary working day's noon for tests that stand the clock."""
    return datetime(2026, 3, 17, 12, tzinfo=UTC)


_flush = TransactionTestCase._fixture_teardown


def _flush_behind_fences(self: TransactionTestCase) -> None:
    """Take the fences down for the runner's flush; its post_migrate puts them back."""
    for alias in self._databases_names(include_mirrors=False):
        fences.drop(connections[alias])
    _flush(self)
    for alias in self._databases_names(include_mirrors=False):
        fences.build(connections[alias])


TransactionTestCase._fixture_teardown = _flush_behind_fences  # type: ignore[method-assign]
