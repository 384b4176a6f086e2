"""How far one event reaches: which sessions must be judged again after it.

A check, recorded or voided or confirmed, changes what is said of measuring between
the pass before it and the next check or break after it; a break, what is said between
the check or break before it and the next check or break after it. What lies further
away is closed and opened by others. The work after an event therefore grows with what
changed and not with the archive.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime

from lab.metrology.bracketing.facts import (
    FOREVER,
    Break,
    Check,
    Session,
    from_microseconds,
    microseconds,
)
from lab.metrology.bracketing.runs import BEFORE_ALL, until

__all__ = ["Reach", "reach_of_break", "reach_of_check"]


@dataclass(frozen=True, slots=True)
class Reach:
    """The span of time in which an event can change an answer.

    Attributes
    ----------
    system : str
        The measuring system whose sessions are concerned.
    start, end : datetime or None
        Measuring at or after `start` and at or before `end`; None for no limit.
    """

    system: str
    start: datetime | None
    end: datetime | None

    def touches(self, session: Session) -> bool:
        """Say whether a session must be judged again."""
        if session.system != self.system:
            return False
        start = BEFORE_ALL if self.start is None else microseconds(self.start)
        end = until(self.end)
        return any(
            microseconds(segment.start) <= end and until(segment.end) >= start
            for segment in session.segments
        )


def reach_of_check(
    check: Check, checks: Iterable[Check], breaks: Sequence[Break]
) -> Reach:
    """Return how far a check reaches that was recorded, confirmed or voided.

    Parameters
    ----------
    check : Check
        The check, as it was or as it is.
    checks : iterable of Check
        Others. Needed are the last pass of its procedure before it and the first
        check of its procedure that ends after it; more changes nothing.
    breaks : sequence of Break
        Breaks of its system. Needed is the first after it, and any within one of the
        checks.

    Returns
    -------
    Reach

    Examples
    --------
    >>> from datetime import UTC, datetime, timedelta
    >>> def made(key, day):
    ...     start = datetime(2025, 4, day, 8, tzinfo=UTC)
    ...     return Check(key, "T1", "bar", start, start + timedelta(minutes=10), True)
    >>> reach = reach_of_check(made("C2", 2), [made("C1", 1), made("C3", 3)], [])
    >>> reach.start.isoformat(), reach.end.isoformat()
    ('2025-04-01T08:00:00+00:00', '2025-04-03T08:10:00+00:00')
    """
    start, end = microseconds(check.start), microseconds(check.end)
    own_breaks = [
        microseconds(each.at) for each in breaks if each.system == check.system
    ]
    others = [
        (microseconds(each.start), microseconds(each.end), each.passed)
        for each in checks
        if each.procedure == check.procedure and _counts_beside(each, check, own_breaks)
    ]
    before = [
        begun
        for begun, over, passed in others
        if passed and over <= start and begun < start
    ]
    after = [over for _, over, _ in others if over > end]
    after += [instant for instant in own_breaks if instant > end]
    return _reach(
        check.system, max(before, default=BEFORE_ALL), min(after, default=FOREVER)
    )


def reach_of_break(
    event: Break,
    procedures: Iterable[str],
    checks: Sequence[Check],
    breaks: Sequence[Break],
) -> Reach:
    """Return how far a break reaches that was recorded or struck out.

    Parameters
    ----------
    event : Break
        The break.
    procedures : iterable of str
        Keys of the check procedures of its system.
    checks : sequence of Check
        Checks of its system. Needed are, of each procedure, the last that ended
        before it, the first that ends after it and, of any that it fell into, those
        that `reach_of_check` needs; more changes nothing.
    breaks : sequence of Break
        Other breaks of its system. Needed are the last before it and the first after
        it, and any within one of the checks.

    Returns
    -------
    Reach

    Examples
    --------
    >>> from datetime import UTC, datetime
    >>> alone = reach_of_break(
    ...     Break("B1", "T1", datetime(2025, 4, 1, 9, tzinfo=UTC)), ["bar"], [], []
    ... )
    >>> alone.start is None and alone.end is None
    True
    """
    at = microseconds(event.at)
    others = [each for each in breaks if each.key != event.key]
    instants = [microseconds(each.at) for each in others if each.system == event.system]
    last_break = max((each for each in instants if each < at), default=BEFORE_ALL)
    next_break = min((each for each in instants if each > at), default=FOREVER)
    own = [each for each in checks if each.system == event.system and each.counts]
    start, end = at, at
    for procedure in procedures:
        beside = [
            (microseconds(each.start), microseconds(each.end))
            for each in own
            if each.procedure == procedure and not _astride(each, instants)
        ]
        ended = [begun for begun, over in beside if over <= at]
        ending = [over for _, over in beside if over > at]
        start = min(start, max([last_break, *ended]))
        end = max(end, min([next_break, *ending]))
    for each in own:
        if microseconds(each.start) < at < microseconds(each.end):
            fallen_into = reach_of_check(each, own, others)
            first = fallen_into.start
            start = min(start, BEFORE_ALL if first is None else microseconds(first))
            end = max(end, until(fallen_into.end))
    return _reach(event.system, start, end)


def _counts_beside(other: Check, check: Check, breaks: Sequence[int]) -> bool:
    return (
        other.key != check.key
        and other.system == check.system
        and other.counts
        and not _astride(other, breaks)
    )


def _astride(check: Check, breaks: Sequence[int]) -> bool:
    """Say whether a pass has a break in its midst, so that it is none."""
    start, end = microseconds(check.start), microseconds(check.end)
    return check.passed and any(start < instant < end for instant in breaks)


def _reach(system: str, start: int, end: int) -> Reach:
    return Reach(
        system,
        None if start == BEFORE_ALL else from_microseconds(start),
        None if end == FOREVER else from_microseconds(end),
    )
