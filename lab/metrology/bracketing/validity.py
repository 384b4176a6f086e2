"""Whether a system may measure at an instant: the gate before a session begins."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from lab.metrology.bracketing.facts import (
    Break,
    Check,
    Procedure,
    from_microseconds,
    microseconds,
)
from lab.metrology.bracketing.results import Cause, CauseKind
from lab.metrology.bracketing.runs import Around, Opening

__all__ = ["Validity", "unchecked_by", "validity_at"]


@dataclass(frozen=True, slots=True)
class Validity:
    """What the checks of one procedure say of one system at one instant.

    Attributes
    ----------
    procedure : str
        The procedure.
    valid : bool
        Whether a segment that starts now starts with a valid pass.
    check : str
        The latest pass; empty if there is none.
    valid_until : datetime or None
        When that pass's validity ends or ended, spoiled or not; None if there is none.
    unchecked_by : Cause or None
        Why it is not valid: the later fail or break, the pass whose time is over, or
        the procedure if there is no check.
    """

    procedure: str
    valid: bool
    check: str
    valid_until: datetime | None
    unchecked_by: Cause | None


def validity_at(
    at: datetime,
    system: str,
    procedure: Procedure,
    checks: Iterable[Check],
    breaks: Iterable[Break],
) -> Validity:
    """Say whether a segment that starts at an instant is opened by a valid pass.

    Parameters
    ----------
    at : datetime
        The instant.
    system : str
        The measuring system.
    procedure : Procedure
        The check procedure.
    checks : iterable of Check
        Those of other systems and procedures are passed over. Needed are all from the
        last pass up to `at`.
    breaks : iterable of Break
        Those of other systems are passed over. Needed are all since that pass began.

    Returns
    -------
    Validity

    Raises
    ------
    NaiveTime
        If a time has no zone.

    Examples
    --------
    >>> from datetime import UTC, datetime, timedelta
    >>> from lab.metrology.bracketing import Check, Procedure
    >>> def at(hour):
    ...     return datetime(2025, 4, 1, hour, tzinfo=UTC)
    >>> bar = Procedure("bar", timedelta(hours=4), timedelta(hours=4))
    >>> morning = Check("C1", "T1", "bar", at(7), at(8), passed=True)
    >>> validity_at(at(11), "T1", bar, [morning], []).valid
    True
    >>> validity_at(at(12), "T1", bar, [morning], []).unchecked_by.key
    'C1'
    """
    own_checks = [each for each in checks if each.system == system]
    own_breaks = [each for each in breaks if each.system == system]
    around = Around.of(procedure, own_checks, own_breaks)
    opening = around.opening(microseconds(at))
    check = opening.check
    return Validity(
        procedure=procedure.key,
        valid=opening.valid,
        check=check.key if check else "",
        valid_until=from_microseconds(opening.valid_until) if check else None,
        unchecked_by=None if opening.valid else unchecked_by(opening, procedure),
    )


def unchecked_by(opening: Opening, procedure: Procedure) -> Cause:
    """Name what took the validity away: a fail, a break, or time; or no check."""
    spoiled_by = opening.spoiled_by
    if isinstance(spoiled_by, Break):
        return Cause(CauseKind.BREAK, spoiled_by.key)
    expired = spoiled_by or opening.check
    if expired is None:
        return Cause(CauseKind.PROCEDURE, procedure.key)
    return Cause(CauseKind.CHECK, expired.key)
