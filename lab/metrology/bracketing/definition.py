"""The lapse rules for one session, written to be read.

The forms for many sessions and for one event give the same answers as this one.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import datetime

from lab.metrology.bracketing.facts import (
    FOREVER,
    Break,
    Calibration,
    Check,
    LaterFinding,
    Procedure,
    Session,
    from_microseconds,
    microseconds,
)
from lab.metrology.bracketing.results import (
    Cause,
    CauseKind,
    Finding,
    FindingName,
    Judgement,
    ProcedureState,
    State,
    worst_first,
)
from lab.metrology.bracketing.runs import (
    BEFORE_ALL,
    Around,
    Measured,
    Opening,
    Run,
    length,
    runs_of,
    until,
)
from lab.metrology.bracketing.validity import unchecked_by

__all__ = ["judge"]


@dataclass(slots=True)
class _Notes:
    """What has been found so far on one session."""

    now: int
    spans: dict[tuple[FindingName, Cause, str], tuple[int, int]] = field(
        default_factory=dict
    )
    following: dict[tuple[FindingName, Cause, str], Measured | None] = field(
        default_factory=dict
    )
    again: list[int] = field(default_factory=list)

    def add(
        self,
        name: FindingName,
        cause: Cause,
        span: tuple[int, int],
        procedure: str = "",
        following: Measured | None = None,
    ) -> None:
        """Note a finding, or widen it to another part of the session."""
        key = (name, cause, procedure)
        start, end = self.spans.get(key, span)
        self.spans[key] = (min(start, span[0]), max(end, span[1]))
        self.following[key] = following

    def wait(self, instant: int) -> None:
        """Note that something changes once an instant is over."""
        if self.now <= instant < FOREVER:
            self.again.append(instant + 1)

    def findings(self) -> tuple[Finding, ...]:
        """Return what was noted, the worst first."""
        listed = []
        for key, (start, end) in self.spans.items():
            following = self.following[key]
            listed.append(
                Finding(
                    name=key[0],
                    cause=key[1],
                    procedure=key[2],
                    start=from_microseconds(start),
                    end=None if end == FOREVER else from_microseconds(end),
                    next_check=following.key if following else "",
                    next_passed=following.passed if following else None,
                )
            )
        return worst_first(listed)


def judge(
    session: Session,
    procedures: Sequence[Procedure],
    checks: Iterable[Check],
    breaks: Iterable[Break],
    calibrations: Iterable[Calibration],
    later_findings: Iterable[LaterFinding],
    now: datetime,
) -> Judgement:
    """Judge one session by the lapse rules.

    Parameters
    ----------
    session : Session
        What was measured when, with which system and chain.
    procedures : sequence of Procedure
        The check procedures that its measuring system needs; each is judged by
        itself.
    checks : iterable of Check
        Artefact checks; those of other systems are passed over. Needed are, for each
        procedure, all from the last pass before the session to the first pass after
        it; more changes nothing. Of a procedure that the system does not need, only
        the fails are of account.
    breaks : iterable of Break
        Breaks; those of other systems are passed over. Needed are the last one
        before the session, the first one after it and all from the first to the last
        of the checks needed.
    calibrations : iterable of Calibration
        Those of the items in the session's chain; others are passed over.
    later_findings : iterable of LaterFinding
        Those about an item in its chain, something it used, its system or itself;
        others are passed over.
    now : datetime
        The present. An answer may change as it passes.

    Returns
    -------
    Judgement
        The findings as a set, the state, and when passing time changes the answer.

    Raises
    ------
    NaiveTime
        If a time has no zone.

    Notes
    -----
    A session whose system needs no procedure at all is unchecked: no passing check
    was valid at its start. Where the waiting for a closing check is ended by a break,
    the session is unclosed and does not lapse any more.

    Examples
    --------
    >>> from datetime import UTC, datetime, timedelta
    >>> def on_the_first(hour, minute=0):
    ...     return datetime(2025, 4, 1, hour, minute, tzinfo=UTC)
    >>> from lab.metrology.bracketing import Segment
    >>> session = Session("S", "T1", (Segment(on_the_first(9), on_the_first(11)),))
    >>> bar = Procedure("bar", timedelta(hours=24), timedelta(hours=4))
    >>> opened = Check("C1", "T1", "bar", on_the_first(8), on_the_first(8, 10), True)
    >>> closed = Check("C2", "T1", "bar", on_the_first(12), on_the_first(12, 10), True)
    >>> judge(session, [bar], [opened], [], [], [], on_the_first(12)).word
    'open'
    >>> judge(session, [bar], [opened], [], [], [], on_the_first(16)).word
    'lapsed'
    >>> judge(session, [bar], [opened, closed], [], [], [], on_the_first(16)).word
    'bracketed'
    """
    notes = _Notes(microseconds(now))
    own_checks = [each for each in checks if each.system == session.system]
    own_breaks = [each for each in breaks if each.system == session.system]
    states = [
        ProcedureState(
            procedure.key,
            _by_procedure(session, Around.of(procedure, own_checks, own_breaks), notes),
        )
        for procedure in procedures
    ]
    if not states:
        _without_procedure(session, notes)
    needed = {procedure.key for procedure in procedures}
    for key in sorted({each.procedure for each in own_checks} - needed):
        _by_other_fails(session, key, own_checks, own_breaks, notes)
    _by_calibrations(session, calibrations, notes)
    _by_later_findings(session, later_findings, notes)
    state = _together([each.state for each in states])
    return Judgement(
        session=session.key,
        findings=notes.findings(),
        state=State.OPEN if session.running else state,
        procedures=tuple(states),
        judge_again_at=(from_microseconds(min(notes.again)) if notes.again else None),
    )


def _together(states: Sequence[State]) -> State:
    """Return the least that may be said: what stands first in `State`."""
    return next((state for state in State if state in states), State.NOT_BRACKETED)


def _without_procedure(session: Session, notes: _Notes) -> None:
    cause = Cause(CauseKind.SYSTEM, session.system)
    for segment in session.segments:
        span = (microseconds(segment.start), until(segment.end))
        notes.add(FindingName.UNCHECKED, cause, span)


def _by_other_fails(
    session: Session,
    key: str,
    checks: Sequence[Check],
    breaks: Sequence[Break],
    notes: _Notes,
) -> None:
    """Note the fails of a procedure that is not needed: a fail is a fail."""
    around = Around.of(Procedure.only_followed(key), checks, breaks)
    for segment in session.segments:
        for run in runs_of(segment, around):
            _suspect(run, around, notes)


def _by_procedure(session: Session, around: Around, notes: _Notes) -> State:
    """Judge by one procedure; return how far the session is bracketed by it."""
    states = [
        _by_run(run, around, notes)
        for segment in session.segments
        for run in runs_of(segment, around)
    ]
    return _together(states)


def _by_run(run: Run, around: Around, notes: _Notes) -> State:
    opening = around.opening(run.start)
    closing = None if run.running else around.closing(run.end)
    if not opening.valid:
        notes.add(
            FindingName.UNCHECKED,
            unchecked_by(opening, around.procedure),
            (run.start, run.end),
            around.procedure.key,
            closing,
        )
    suspect = _suspect(run, around, notes)
    waiting = _lapsed(run, around, opening, closing, notes)
    unclosed = _unclosed(run, around, closing, notes)
    if run.running or waiting:
        return State.OPEN
    if not opening.valid or suspect:
        return State.NOT_BRACKETED
    if not around.procedure.closing_wanted:
        return State.CHECKED_AT_START_ONLY
    if unclosed or closing is None:
        return State.NOT_BRACKETED
    return State.BRACKETED


def _suspect(run: Run, around: Around, notes: _Notes) -> bool:
    """Note every failing check that makes the run suspect: all since the last pass."""
    found = False
    for fail in around.fails:
        after = around.suspect_after(fail)
        if run.start < fail.end and after < run.end:
            found = True
            notes.add(
                FindingName.SUSPECT,
                Cause(CauseKind.CHECK, fail.key),
                (max(run.start, after), min(run.end, fail.end)),
                around.procedure.key,
                fail,
            )
    return found


def _lapsed(
    run: Run,
    around: Around,
    opening: Opening,
    closing: Measured | None,
    notes: _Notes,
) -> bool:
    """Note a lapse; say whether a closing check is still waited for.

    The wait ends with the next check or the next break, whichever comes first.
    """
    valid_until = opening.valid_until if opening.valid else FOREVER
    cause = Cause(CauseKind.PROCEDURE, around.procedure.key)
    if opening.valid and opening.check:
        cause = Cause(CauseKind.CHECK, opening.check.key)
    measured_until = run.end if not run.running else max(notes.now, run.start)
    if run.running:
        notes.wait(valid_until)
    if valid_until < measured_until:
        span = (valid_until, run.end)
        notes.add(FindingName.LAPSED, cause, span, around.procedure.key, closing)
    if run.running or not around.procedure.closing_wanted:
        return False
    deadline = valid_until
    if run.segment_end != FOREVER:
        within = length(around.procedure.closing_within)
        deadline = min(deadline, run.segment_end + within)
    broken = around.next_break(run.end)
    ended = min(
        closing.start if closing else FOREVER,
        microseconds(broken.at) if broken else FOREVER,
    )
    if min(ended, notes.now) > deadline:
        span = (run.start, run.end)
        notes.add(FindingName.LAPSED, cause, span, around.procedure.key, closing)
        return False
    if ended > deadline:
        notes.wait(deadline)
    return ended == FOREVER


def _unclosed(
    run: Run, around: Around, closing: Measured | None, notes: _Notes
) -> bool:
    """Note a break after the run with no check between the two."""
    if run.running or not around.procedure.closing_wanted:
        return False
    broken = around.next_break(run.end)
    if broken is None or (closing and closing.end <= microseconds(broken.at)):
        return False
    notes.add(
        FindingName.UNCLOSED,
        Cause(CauseKind.BREAK, broken.key),
        (run.start, run.end),
        around.procedure.key,
        closing,
    )
    return True


def _by_calibrations(
    session: Session, calibrations: Iterable[Calibration], notes: _Notes
) -> None:
    """Note each item in the chain whose calibration was not current throughout."""
    spans: dict[str, list[tuple[int, int]]] = {item: [] for item in session.chain}
    for each in calibrations:
        if each.item in spans:
            spans[each.item].append((microseconds(each.start), until(each.end)))
    for item, current in spans.items():
        for gap in _gaps(current):
            _over(session, gap, FindingName.CALIBRATION, (CauseKind.ITEM, item), notes)


def _gaps(current: list[tuple[int, int]]) -> list[tuple[int, int]]:
    """Return the spans of all time that no interval covers."""
    gaps, covered_until = [], BEFORE_ALL
    for start, end in sorted(current):
        if start > covered_until:
            gaps.append((covered_until, start))
        covered_until = max(covered_until, end)
    return [*gaps, (covered_until, FOREVER)]


def _by_later_findings(
    session: Session, later_findings: Iterable[LaterFinding], notes: _Notes
) -> None:
    about = {session.key, session.system, *session.chain, *session.uses}
    for each in later_findings:
        if each.about in about:
            span = (microseconds(each.start), until(each.end))
            _over(session, span, each.name, (CauseKind.FINDING, each.key), notes)


def _over(
    session: Session,
    span: tuple[int, int],
    name: FindingName,
    cause: tuple[CauseKind, str],
    notes: _Notes,
) -> None:
    """Note a finding on every part of the session that a span of time covers."""
    for segment in session.segments:
        start, end = microseconds(segment.start), until(segment.end)
        measured_until = end if segment.end else max(notes.now, start)
        if span[0] >= span[1] or span[1] <= start:
            continue
        if span[0] < measured_until or span[0] <= start:
            covered = (max(start, span[0]), min(end, span[1]))
            notes.add(name, Cause(*cause), covered)
        elif segment.end is None:
            notes.wait(span[0])
