"""What one failing check casts doubt on: the default window of its case."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import dataclass
from datetime import datetime

from lab.metrology.bracketing.facts import (
    Break,
    Check,
    Procedure,
    Session,
    from_microseconds,
    microseconds,
)
from lab.metrology.bracketing.runs import BEFORE_ALL, Around, Measured, until
from lab.metrology.errors import OutOfDomain

__all__ = ["Suspicion", "sessions_sharing", "suspicion_of"]


@dataclass(frozen=True, slots=True)
class Suspicion:
    """The time that a failing check casts doubt on.

    Attributes
    ----------
    check, system : str
        The failing check and its system.
    start : datetime or None
        When the last pass before it began: measuring up to then was closed by that
        pass. None if there never was one.
    end : datetime
        When the failing check ended.
    """

    check: str
    system: str
    start: datetime | None
    end: datetime

    def covers(self, session: Session) -> bool:
        """Say whether any of a session's measuring lies in this time."""
        start = BEFORE_ALL if self.start is None else microseconds(self.start)
        end = microseconds(self.end)
        return any(
            microseconds(segment.start) < end and (until(segment.end) > start)
            for segment in session.segments
        )


def suspicion_of(
    fail: Check, checks: Iterable[Check], breaks: Iterable[Break]
) -> Suspicion:
    """Return the default window of the case that a failing check opens.

    It goes back to the last pass of the same procedure, over breaks and over other
    fails. The quality manager may move its start back; what then lies in it as well is
    told to `judge` as a `LaterFinding` about the system.

    Parameters
    ----------
    fail : Check
        A check that failed and is not voided.
    checks : iterable of Check
        Others. Needed is the last pass before it.
    breaks : iterable of Break
        Breaks. Needed are those within that pass.

    Returns
    -------
    Suspicion

    Raises
    ------
    OutOfDomain
        If the check passed or is voided.

    Examples
    --------
    >>> from datetime import UTC, datetime
    >>> def at(hour, minute=0):
    ...     return datetime(2025, 4, 1, hour, minute, tzinfo=UTC)
    >>> passed = Check("C1", "T1", "bar", at(8), at(8, 10), passed=True)
    >>> failed = Check("C2", "T1", "bar", at(12), at(12, 10), passed=False)
    >>> suspicion_of(failed, [passed], []).start.hour
    8
    """
    if fail.passed or fail.voided:
        raise OutOfDomain(f"Check {fail.key} is no fail, so it makes nothing suspect.")
    around = Around.of(
        Procedure.only_followed(fail.procedure),
        [each for each in checks if each.system == fail.system],
        [each for each in breaks if each.system == fail.system],
    )
    start, end = microseconds(fail.start), microseconds(fail.end)
    after = around.suspect_after(Measured(fail.key, start, end, passed=False))
    return Suspicion(
        check=fail.key,
        system=fail.system,
        start=None if after == BEFORE_ALL else from_microseconds(after),
        end=fail.end,
    )


def sessions_sharing(
    suspicion: Suspicion, devices: Collection[str], sessions: Iterable[Session]
) -> tuple[str, ...]:
    """Return the sessions of other systems that share a device with a failed check.

    The check may have failed because of its tracker, its scanner or its artefact, so
    that what else was measured with them in that time is to be decided on as well.

    Parameters
    ----------
    suspicion : Suspicion
        The window of the failed check.
    devices : collection of str
        The tracker, the scanner and the artefact of that check.
    sessions : iterable of Session
        Sessions of any system; their chain names their devices.

    Returns
    -------
    tuple of str
        Keys of the sessions, in the order given.

    Examples
    --------
    >>> from datetime import UTC, datetime
    >>> from lab.metrology.bracketing import Segment
    >>> def at(hour):
    ...     return datetime(2025, 4, 1, hour, tzinfo=UTC)
    >>> other = Session("S7", "T2", (Segment(at(9), at(10)),), ("steel bar",))
    >>> window = Suspicion("C2", "T1", at(8), at(12))
    >>> sessions_sharing(window, {"steel bar"}, [other])
    ('S7',)
    """
    shared = frozenset(devices)
    return tuple(
        session.key
        for session in sessions
        if session.system != suspicion.system
        and shared.intersection(session.chain)
        and suspicion.covers(session)
    )
