"""What may happen to a check afterwards: void, confirmed, broken by an event."""

from __future__ import annotations

from datetime import datetime
from typing import Any

import pytest

from lab.checks.models import ArtefactCheck, Break, CheckVoid, LateConfirmation
from lab.checks.services import confirm_late_check, record_break, void_check
from lab.common import clock
from lab.common.errors import NotAcceptable, NotAllowed, WrongState
from lab.common.models import AuditEntry, WorkItem
from tests.checks.conftest import FAILING, at

pytestmark = pytest.mark.django_db


def void(check: ArtefactCheck, actor: Any, **changes: Any) -> CheckVoid:
    with clock.set_to(at(12)):
        return void_check(
            **{
                "check": check,
                "cause": "recording error",
                "reason": "Two digits were exchanged.",
                "acting_user": actor,
            }
            | changes
        )


def confirm(check: ArtefactCheck, actor: Any, **changes: Any) -> LateConfirmation:
    values = {"check": check, "reason": "I stood beside it.", "acting_user": actor}
    with clock.set_to(at(12)):
        return confirm_late_check(**values | changes)


def happened(system: Any, actor: Any, now: datetime, **changes: Any) -> Break:
    with clock.set_to(now):
        return record_break(
            **{
                "system": system,
                "kind": "knock",
                "at": at(9),
                "note": "Fell off the bench.",
                "acting_user": actor,
            }
            | changes
        )


def work_wanted_again() -> None:
    """Forget the work that recording asked for, to see what asks for it next."""
    WorkItem.objects.filter(kind="lapses.judge_system").delete()


def judge_is_wanted(system: Any) -> bool:
    rows = WorkItem.objects.filter(kind="lapses.judge_system", object_id=system.pk)
    return rows.exists()


# --- Void ---------------------------------------------------------------------------


@pytest.mark.parametrize("cause", list(CheckVoid.Cause))
def test_a_pass_is_voided_by_the_signatory_for_any_cause(
    people, system, check, cause: str
) -> None:
    made = check()
    work_wanted_again()
    void(made, people.signatory, cause=cause)
    again = ArtefactCheck.objects.get(pk=made.pk)
    assert (again.verdict, again.is_void, again.word) == ("pass", True, "Void")
    entry = AuditEntry.objects.get(verb="check.voided")
    assert entry.reason == "Two digits were exchanged."
    assert judge_is_wanted(system)


def test_a_fail_is_voided_by_the_quality_manager_alone(people, check) -> None:
    made = check(readings=FAILING)
    for person in (people.technician, people.signatory, people.administrator):
        with pytest.raises(NotAllowed):
            void(made, person)
    assert not CheckVoid.objects.exists()
    assert void(made, people.quality).voided_by == people.quality


@pytest.mark.parametrize("cause", ["wrong artefact", "other"])
def test_that_a_repeat_passed_voids_no_fail(people, check, cause: str) -> None:
    made = check(readings=FAILING)
    with pytest.raises(NotAcceptable, match="recorded wrongly") as refusal:
        void(made, people.quality, cause=cause)
    assert refusal.value.field == "cause"


def test_a_check_is_void_once_and_for_a_reason(people, check) -> None:
    made = check()
    with pytest.raises(NotAcceptable, match="empty"):
        void(made, people.quality, reason=" ")
    with pytest.raises(NotAcceptable, match="no cause"):
        void(made, people.quality, cause="bad day")
    void(made, people.quality)
    with pytest.raises(WrongState, match="void already"):
        void(made, people.signatory)
    assert AuditEntry.objects.filter(verb="check.voided").count() == 1


def test_a_technician_voids_nothing(people, check) -> None:
    with pytest.raises(NotAllowed):
        void(check(), people.technician)


# --- Late ---------------------------------------------------------------------------


def test_a_late_pass_is_confirmed_by_somebody_else(people, system, check) -> None:
    made = check(now=at(9))
    work_wanted_again()
    with pytest.raises(NotAllowed, match="Somebody else"):
        confirm(made, people.technician)
    assert not judge_is_wanted(system)
    assert confirm(made, people.technician2).confirmed_by == people.technician2
    assert AuditEntry.objects.get(verb="check.confirmed").reason == "I stood beside it."
    assert judge_is_wanted(system)
    assert not ArtefactCheck.objects.get(pk=made.pk).awaits_confirmation
    with pytest.raises(WrongState, match="confirmed already"):
        confirm(made, people.signatory)


def test_what_waits_for_nobody_is_not_confirmed(people, check) -> None:
    in_time = check()
    failed = check(now=at(9), form_key="form-2", readings=FAILING)
    voided = check(now=at(9), form_key="form-3")
    void(voided, people.quality)
    for made in (in_time, failed, voided):
        with pytest.raises(WrongState, match="waits for nobody"):
            confirm(made, people.technician2)


def test_a_confirmation_needs_a_reason_and_a_role(people, check) -> None:
    made = check(now=at(9))
    with pytest.raises(NotAcceptable) as refusal:
        confirm(made, people.technician2, reason="-")
    assert refusal.value.field == "reason"
    with pytest.raises(NotAllowed):
        confirm(made, people.coordinator)


# --- Breaks -------------------------------------------------------------------------


def test_a_break_is_recorded_once(people, system) -> None:
    made = happened(system, people.technician, at(10))
    assert happened(system, people.technician, at(10)) == made
    assert Break.objects.count() == 1
    entry = AuditEntry.objects.get(verb="system.break_recorded")
    assert (entry.actor, entry.reason) == (people.technician, "Fell off the bench.")
    assert judge_is_wanted(system)
    happened(system, people.technician, at(10), note="Fell again.")
    assert Break.objects.count() == 2


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"kind": "earthquake"}, "kind"),
        ({"at": at(10, 6)}, "at"),
        ({"note": "tbd"}, "note"),
    ],
)
def test_a_break_without_sense_is_refused(
    people, system, change: dict[str, Any], field: str
) -> None:
    with pytest.raises(NotAcceptable) as refusal:
        happened(system, people.technician, at(10), **change)
    assert refusal.value.field == field
    assert not Break.objects.exists()


def test_a_coordinator_records_no_break(people, system) -> None:
    with pytest.raises(NotAllowed):
        happened(system, people.coordinator, at(10))
