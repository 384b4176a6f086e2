"""The incremental form: judge again only what an event reaches.

A `Book` keeps sessions, checks, breaks, calibrations and later findings in order of
time, and the answer for each session. After an event it looks up the neighbouring
checks and breaks, and judges the sessions between them by the definition, with the
facts that lie around each.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime

from lab.metrology.bracketing.definition import judge
from lab.metrology.bracketing.facts import (
    FOREVER,
    Break,
    Calibration,
    Check,
    LaterFinding,
    Procedure,
    Session,
    microseconds,
)
from lab.metrology.bracketing.ordered import Ordered
from lab.metrology.bracketing.reach import Reach, reach_of_break, reach_of_check
from lab.metrology.bracketing.results import Judgement
from lab.metrology.bracketing.runs import BEFORE_ALL, until

__all__ = ["Book"]


@dataclass(slots=True)
class _Measuring:
    """The segments that one system or one item took part in, in order of start."""

    segments: Ordered[tuple[int, int, str]] = field(default_factory=Ordered)
    running: set[str] = field(default_factory=set)
    longest: int = 0

    def add(self, session: Session) -> None:
        for number, segment in enumerate(session.segments):
            start, end = microseconds(segment.start), until(segment.end)
            key = f"{session.key}/{number}"
            self.segments.add(start, end, key, (start, end, session.key))
            if end == FOREVER:
                self.running.add(session.key)
            else:
                self.longest = max(self.longest, end - start)

    def remove(self, session: Session) -> None:
        for number, segment in enumerate(session.segments):
            start, end = microseconds(segment.start), until(segment.end)
            self.segments.remove(start, end, f"{session.key}/{number}")
        self.running.discard(session.key)

    def between(self, first: int, last: int) -> set[str]:
        """Return the sessions that measured at or after `first`, up to `last`."""
        found = set(self.running)
        for start, end, session in self.segments.from_instant(first - self.longest):
            if start > last:
                break
            if end >= first:
                found.add(session)
        return found


@dataclass(slots=True)
class _Checks:
    """The checks of one procedure on one system, by their ends and by their starts."""

    by_end: Ordered[Check] = field(default_factory=Ordered)
    by_start: Ordered[Check] = field(default_factory=Ordered)
    longest: int = 0

    def add(self, check: Check) -> None:
        start, end = microseconds(check.start), microseconds(check.end)
        self.by_end.add(end, start, check.key, check)
        self.by_start.add(start, end, check.key, check)
        self.longest = max(self.longest, end - start)

    def remove(self, check: Check) -> None:
        start, end = microseconds(check.start), microseconds(check.end)
        self.by_end.remove(end, start, check.key)
        self.by_start.remove(start, end, check.key)


@dataclass(slots=True)
class _System:
    """What is known of one measuring system."""

    procedures: tuple[Procedure, ...]
    checks: dict[str, _Checks] = field(default_factory=dict)
    breaks: Ordered[Break] = field(default_factory=Ordered)

    def of(self, procedure: str) -> _Checks:
        return self.checks.setdefault(procedure, _Checks())

    def is_pass(self, check: Check) -> bool:
        """Say whether a check is a pass that counts, with no break in its midst."""
        if not (check.passed and check.counts):
            return False
        after = self.breaks.from_instant(microseconds(check.start) + 1)
        inside = next(after, None)
        return inside is None or microseconds(inside.at) >= microseconds(check.end)

    def counts(self, check: Check) -> bool:
        return check.counts and (not check.passed or self.is_pass(check))

    def back_to_pass(self, procedure: str, instant: int) -> Iterator[Check]:
        """Yield checks that ended by an instant, back to the last pass of them."""
        stop = None
        for check in self.of(procedure).by_end.up_to_instant(instant):
            end = microseconds(check.end)
            if stop is not None and end < stop:
                return
            yield check
            if stop is None and self.is_pass(check):
                stop = end

    def on_to_pass(self, procedure: str, first: int, last: int) -> Iterator[Check]:
        """Yield checks that end after `first`, on to the first pass begun at `last`."""
        checks, stop = self.of(procedure), None
        for check in checks.by_start.from_instant(first - checks.longest):
            start = microseconds(check.start)
            if stop is not None and start > stop:
                return
            if microseconds(check.end) > first:
                yield check
            if stop is None and start >= last and self.is_pass(check):
                stop = microseconds(check.end)

    def next_check(self, procedure: str, instant: int) -> Check | None:
        """Return the first check that counts and ends after an instant."""
        ending = self.of(procedure).by_end.from_instant(instant + 1)
        return next((check for check in ending if self.counts(check)), None)

    def breaks_around(self, first: int, last: int) -> Iterator[Break]:
        """Yield the last break up to `first`, all between, the first from `last`."""
        at = None
        for each in self.breaks.up_to_instant(first):
            if at is not None and microseconds(each.at) < at:
                break
            at = microseconds(each.at)
            yield each
        at = None
        for each in self.breaks.from_instant(first + 1):
            if at is not None and microseconds(each.at) > at:
                break
            if microseconds(each.at) >= last:
                at = microseconds(each.at)
            yield each


class Book:
    """Facts and answers of a laboratory, kept up to date event by event.

    Parameters
    ----------
    procedures : mapping of str to sequence of Procedure
        For each measuring system the check procedures that it needs.

    Notes
    -----
    Every method that records something returns the keys of the sessions that it
    judged. Time is passed in; `pass_time` judges what the clock alone has changed.

    Examples
    --------
    >>> from datetime import UTC, datetime, timedelta
    >>> from lab.metrology.bracketing import Check, Procedure, Segment, Session
    >>> def at(hour):
    ...     return datetime(2025, 4, 1, hour, tzinfo=UTC)
    >>> bar = Procedure("bar", timedelta(hours=24), timedelta(hours=4))
    >>> book = Book({"T1": [bar]})
    >>> session = Session("S", "T1", (Segment(at(9), at(11)),))
    >>> sorted(book.record_session(session, at(11)))
    ['S']
    >>> book.judgement("S").word
    'unchecked'
    >>> opening = Check("C1", "T1", "bar", at(7), at(8), passed=True, confirmed=True)
    >>> sorted(book.record_check(opening, at(11)))
    ['S']
    >>> book.judgement("S").word
    'open'
    """

    def __init__(self, procedures: Mapping[str, Sequence[Procedure]]) -> None:
        self._systems = {
            system: _System(tuple(needed)) for system, needed in procedures.items()
        }
        self._sessions: dict[str, Session] = {}
        self._checks: dict[str, Check] = {}
        self._measuring: dict[str, _Measuring] = {}
        self._calibrations: dict[str, list[Calibration]] = {}
        self._later: dict[str, list[LaterFinding]] = {}
        self._judgements: dict[str, Judgement] = {}
        self._again: Ordered[str] = Ordered()

    def judgement(self, session: str) -> Judgement:
        """Return the answer for a session; an unknown one raises KeyError."""
        return self._judgements[session]

    def load(
        self,
        sessions: Iterable[Session],
        checks: Iterable[Check] = (),
        breaks: Iterable[Break] = (),
    ) -> None:
        """Take in an archive without judging it."""
        for session in sessions:
            self._put(session)
        for check in checks:
            self._checks[check.key] = check
            self._system(check.system).of(check.procedure).add(check)
        for event in breaks:
            instant = microseconds(event.at)
            self._system(event.system).breaks.add(instant, 0, event.key, event)

    def judge_everything(self, now: datetime) -> frozenset[str]:
        """Judge every session, as after `load`."""
        return self._judge(self._sessions, now)

    def record_session(self, session: Session, now: datetime) -> frozenset[str]:
        """Take in a session that is new, went on, or was corrected."""
        self._put(session)
        return self._judge([session.key], now)

    def record_check(self, check: Check, now: datetime) -> frozenset[str]:
        """Take in a check that is new, or was voided, confirmed or corrected."""
        before = self._checks.pop(check.key, None)
        versions = [check] if before is None else [before, check]
        if before is not None:
            self._system(before.system).of(before.procedure).remove(before)
        touched: set[str] = set()
        for version in versions:
            touched |= self._touched(self._reach_of_check(version))
        self._checks[check.key] = check
        self._system(check.system).of(check.procedure).add(check)
        return self._judge(touched, now)

    def record_break(self, event: Break, now: datetime) -> frozenset[str]:
        """Take in a break."""
        system, at = self._system(event.system), microseconds(event.at)
        near = [
            check
            for procedure in system.checks
            for check in self._near(system, procedure, at, at)
        ]
        first = min([at, *(microseconds(each.start) for each in near)])
        last = max([at, *(microseconds(each.end) for each in near)])
        reach = reach_of_break(
            event,
            [procedure.key for procedure in system.procedures],
            near,
            list(system.breaks_around(first, last + 1)),
        )
        system.breaks.add(at, 0, event.key, event)
        return self._judge(self._touched(reach), now)

    def record_calibration(self, made: Calibration, now: datetime) -> frozenset[str]:
        """Take in a calibration of an item."""
        self._calibrations.setdefault(made.item, []).append(made)
        return self._judge(self._during(made.item, made.start, made.end), now)

    def record_later_finding(
        self, finding: LaterFinding, now: datetime
    ) -> frozenset[str]:
        """Take in something found out later."""
        self._later.setdefault(finding.about, []).append(finding)
        touched = self._during(finding.about, finding.start, finding.end)
        if finding.about in self._sessions:
            touched |= {finding.about}
        return self._judge(touched, now)

    def pass_time(self, now: datetime) -> frozenset[str]:
        """Judge the sessions whose answer passing time has changed."""
        return self._judge(list(self._again.up_to_instant(microseconds(now))), now)

    def _system(self, key: str) -> _System:
        return self._systems.setdefault(key, _System(()))

    def _names(self, session: Session) -> set[str]:
        return {session.system, *session.chain, *session.uses}

    def _put(self, session: Session) -> None:
        before = self._sessions.get(session.key)
        if before is not None:
            for name in self._names(before):
                self._measuring[name].remove(before)
        self._sessions[session.key] = session
        for name in self._names(session):
            self._measuring.setdefault(name, _Measuring()).add(session)

    def _during(self, name: str, start: datetime, end: datetime | None) -> set[str]:
        measuring = self._measuring.get(name)
        if measuring is None:
            return set()
        return measuring.between(microseconds(start), until(end))

    def _touched(self, reach: Reach) -> set[str]:
        measuring = self._measuring.get(reach.system)
        if measuring is None:
            return set()
        first = BEFORE_ALL if reach.start is None else microseconds(reach.start)
        return measuring.between(first, until(reach.end))

    def _reach_of_check(self, check: Check) -> Reach:
        system = self._system(check.system)
        start, end = microseconds(check.start), microseconds(check.end)
        beside = list(system.back_to_pass(check.procedure, start))
        following = system.next_check(check.procedure, end)
        if following is not None:
            beside.append(following)
        first = min([start, *(microseconds(each.start) for each in beside)])
        last = max([end + 1, *(microseconds(each.end) for each in beside)])
        return reach_of_check(check, beside, list(system.breaks_around(first, last)))

    def _near(
        self, system: _System, procedure: str, first: int, last: int
    ) -> list[Check]:
        return [
            *system.back_to_pass(procedure, first),
            *system.on_to_pass(procedure, first, last),
        ]

    def _judge(self, sessions: Iterable[str], now: datetime) -> frozenset[str]:
        judged = frozenset(sessions)
        for key in judged:
            before = self._judgements.get(key)
            if before is not None and before.judge_again_at is not None:
                self._again.remove(microseconds(before.judge_again_at), 0, key)
            after = self._judged(self._sessions[key], now)
            self._judgements[key] = after
            if after.judge_again_at is not None:
                self._again.add(microseconds(after.judge_again_at), 0, key, key)
        return judged

    def _judged(self, session: Session, now: datetime) -> Judgement:
        """Judge one session by the facts around it."""
        system = self._system(session.system)
        first = min(microseconds(segment.start) for segment in session.segments)
        last = max(until(segment.end) for segment in session.segments)
        near = [
            check
            for procedure in system.checks
            for check in self._near(system, procedure, first, last)
        ]
        earliest = min([first, *(microseconds(each.start) for each in near)])
        latest = max([last, *(microseconds(each.end) for each in near)])
        names = {*self._names(session), session.key}
        return judge(
            session,
            system.procedures,
            near,
            list(system.breaks_around(earliest, latest)),
            [
                made
                for item in session.chain
                for made in self._calibrations.get(item, [])
            ],
            [found for name in names for found in self._later.get(name, [])],
            now,
        )
