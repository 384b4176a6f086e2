"""How a system stands by its checks: in which state, until when, and why."""

from __future__ import annotations

from datetime import timedelta

import pytest

from lab.checks.selectors import newest_procedures, standing, standings
from lab.checks.services import (
    add_procedure,
    confirm_late_check,
    record_break,
    void_check,
)
from lab.common import clock
from tests.checks.conftest import FAILING, at, revise

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


def test_a_fail_ends_every_pass_before_it_until_the_next(
    system, revision, check
) -> None:
    check()
    failed = check(
        started_at=at(9), ended_at=at(9, 10), form_key="form-2", readings=FAILING
    )
    (one,) = standing(system, at(10))
    assert (one.state, one.last_check, one.valid_until) == ("failed", failed, None)
    assert one.reason == "CP-01 failed at 2026-03-17 09:10, and none has passed since."
    check(started_at=at(11), ended_at=at(11, 10), form_key="form-3")
    assert state(system, at(12))[0] == "valid"


def test_a_break_ends_a_pass_until_the_next(people, system, revision, check) -> None:
    check()
    with clock.set_to(at(10)):
        record_break(
            system=system,
            kind="knock",
            at=at(9),
            note="Fell off the bench.",
            acting_user=people.technician,
        )
    assert state(system, at(8, 59))[0] == "valid"
    assert state(system, at(9)) == (
        "broken",
        "Knock or fall at 2026-03-17 09:00, and CP-01 has not passed since.",
    )
    check(started_at=at(11), ended_at=at(11, 10), form_key="form-2")
    assert state(system, at(12))[0] == "valid"


def test_a_pass_with_a_break_within_it_shows_nothing(
    people, system, revision, check
) -> None:
    with clock.set_to(at(8)):
        record_break(
            system=system,
            kind="adjustment",
            at=at(7, 50),
            note="Compensated in the middle of it.",
            acting_user=people.technician,
        )
    check()
    assert state(system, at(9))[0] == "none"


def test_a_late_pass_waits_for_a_second_person(people, system, revision, check) -> None:
    """Ended at 8:00: recorded at 8:30 it is in time, a second later it is late."""
    assert not check(now=at(8, 30)).is_late
    late = check(
        now=at(9, 30, days=1) + timedelta(seconds=1),
        started_at=at(8, 40, days=1),
        ended_at=at(9, days=1),
        form_key="form-2",
    )
    assert late.awaits_confirmation
    (one,) = standing(system, at(10, days=1))
    assert (one.state, one.last_check) == ("late", late)
    with clock.set_to(at(10, days=1)):
        confirm_late_check(
            check=late, reason="I stood beside it.", acting_user=people.technician2
        )
    (one,) = standing(system, at(10, days=1))
    assert (one.state, one.valid_until) == ("valid", at(21, days=1))


def test_a_late_fail_is_a_fail_at_once(system, revision, check) -> None:
    check(now=at(9), readings=FAILING)
    assert state(system, at(9))[0] == "failed"


def test_a_late_pass_before_a_fail_would_change_nothing(
    system, revision, check
) -> None:
    check(now=at(9))
    check(started_at=at(8, 10), ended_at=at(8, 20), form_key="form-2", readings=FAILING)
    assert state(system, at(10))[0] == "failed"


def test_a_void_check_counts_for_nothing(people, system, revision, check) -> None:
    check()
    made = check(started_at=at(9), ended_at=at(9, 10), form_key="form-2")
    with clock.set_to(at(10)):
        void_check(
            check=made,
            cause="wrong artefact",
            reason="The other bar was on the bench.",
            acting_user=people.signatory,
        )
    (one,) = standing(system, at(10))
    assert one.valid_until == at(20)


def test_each_procedure_is_judged_by_itself_in_a_fixed_number_of_queries(
    people, system, revision, bar, check, django_assert_num_queries
) -> None:
    with clock.set_to(at(7)):
        for number in range(2, 5):
            procedure = add_procedure(
                code=f"CP-0{number}",
                title="Once more",
                kind="length",
                systems=[system],
                acting_user=people.quality,
            )
            revise(people, procedure, bar)
    check()
    with django_assert_num_queries(5):
        found = standings([system], at(9))[system.pk]
    assert [one.state for one in found] == ["valid", "none", "none", "none"]
    with django_assert_num_queries(1):
        revisions = newest_procedures(system)
    assert [one.number for one in revisions] == [1, 1, 1, 1]


def test_a_new_revision_judges_by_how_long_it_says_a_pass_holds(
    people, system, revision, bar, check
) -> None:
    check()
    with clock.set_to(at(9)):
        revise(people, revision.procedure, bar, valid_for=timedelta(hours=4))
    (one,) = standing(system, at(10))
    assert (one.procedure.number, one.valid_until) == (2, at(12))


def test_a_procedure_without_a_revision_asks_for_nothing(people, system) -> None:
    with clock.set_to(at(7)):
        add_procedure(
            code="CP-09",
            title="Not written yet",
            kind="length",
            systems=[system],
            acting_user=people.quality,
        )
    assert standing(system, at(9)) == []
