"""How a system stands by its checks: in which state, until when, and why."""

from __future__ import annotations

import pytest

from lab.checks.selectors import newest_procedures, standing
from tests.checks.conftest import at

pytestmark = pytest.mark.django_db


def state(system, when) -> tuple[str, str]:
    (one,) = standing(system, when)
    return one.state, one.reason


def test_a_system_that_was_never_checked_has_no_standing(system, revision) -> None:
    (one,) = standing(system, at(9))
    assert (one.state, one.last_check, one.valid_until) == ("none", None, None)
    assert one.reason == "CP-01 has not passed yet on this system."


def test_a_system_without_procedures_has_none_to_stand_by(system) -> None:
    assert standing(system, at(9)) == []
    assert newest_procedures(system) == []


def test_a_pass_holds_from_its_end_until_its_time_is_over(
    system, revision, check
) -> None:
    made = check()
    assert state(system, at(7, 59))[0] == "none"
    (one,) = standing(system, at(8))
    assert (one.state, one.last_check) == ("valid", made)
    assert one.valid_until == at(20)
    assert one.reason == "CP-01 passed; valid until 2026-03-17 20:00."
    assert state(system, at(19, 59))[0] == "valid"
    assert state(system, at(20)) == (
        "expired",
        "CP-01 ran out at 2026-03-17 20:00; check again.",
    )
