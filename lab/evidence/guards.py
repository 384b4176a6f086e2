"""Who decides about cases: the quality manager, or who stands in; never a party."""

from __future__ import annotations

from zoneinfo import ZoneInfo

from lab.accounts.models import User
from lab.accounts.permissions import Role
from lab.certificates.selectors import people_who_worked_on
from lab.common import clock
from lab.common.errors import NotAllowed, WrongState
from lab.evidence.models import Case
from lab.evidence.reach import Touched
from lab.laboratory.selectors import deputations_in_force, home_zone


class CaseClosed(WrongState):
    """The case is closed, and nothing more is said in it."""


class NotClosable(WrongState):
    """Something in the case is undone."""


def stands_in_for_quality(person: User, zone: ZoneInfo | None = None) -> bool:
    """Tell whether a quality manager named a person to stand in today.

    ``zone``: the laboratory's, where the caller knows it already.
    """
    rows = deputations_in_force(clock.now(), zone or home_zone())
    return rows.filter(
        deputy=person, person__role=Role.QUALITY, person__is_active=True
    ).exists()


def may_decide(person: User, zone: ZoneInfo | None = None) -> bool:
    """Tell whether a person decides about cases: by role, or as a deputy today."""
    return person.role == Role.QUALITY or (
        person.may("cases.see") and stands_in_for_quality(person, zone)
    )


def require_decider(person: User) -> None:
    """Refuse who is neither the quality manager nor a deputy.

    Raises
    ------
    NotAllowed
    """
    if not may_decide(person):
        raise NotAllowed(
            "The quality manager decides this, or who is named to stand in."
        )


def parties_of(case: Case, touched: Touched) -> set[int]:
    """Return who measured, evaluated or issued what a case touches, or did the check.

    None of them closes it.
    """
    people: set[int] = set()
    for job in touched.jobs:
        people |= people_who_worked_on(job)
    people |= {one.issued_by_id for one in touched.certificates}
    if case.artefact_check is not None:
        people |= {case.artefact_check.measured_by_id}
    return people


def require_impartial(person: User, case: Case, touched: Touched) -> None:
    """Refuse a party to the case.

    Raises
    ------
    NotAllowed
    """
    if person.pk in parties_of(case, touched):
        raise NotAllowed(
            "You measured, evaluated or issued what this case touches. Somebody else "
            "closes it: let the quality manager name a deputy under Laboratory, "
            "Authorisations."
        )


def lock_open(case: Case) -> Case:
    """Lock a case until the caller's transaction ends; refuse one that is closed.

    Raises
    ------
    CaseClosed
    """
    locked = Case.objects.select_for_update().get(pk=case.pk)
    if not locked.is_open:
        raise CaseClosed(f"Case {case.pk} is closed. Open another if there is more.")
    return locked
