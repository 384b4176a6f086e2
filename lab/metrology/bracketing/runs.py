"""The checks of one procedure around one stretch of measuring.

A segment is cut into runs: at every break in it, and at the end of every check that
ended in it. A run is opened by what was valid at its first instant, and closed by
what came after its last. Where a check lies strictly inside the segment, no part is
measured while the artefact is, so that the run before it ends at the check's start.

- A check opens by its end and closes by its start. At the segment's start instant its
  end opens; at the segment's end instant its start closes.
- Of a pass and a fail that end at the same instant, the fail counts.
- A check that ended at the instant of a break was measured before it; one that starts
  at that instant, after it. A pass with a break in its midst is no pass.

All times here are whole microseconds of UTC.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from lab.metrology.bracketing.facts import (
    FOREVER,
    Break,
    Check,
    Procedure,
    Segment,
    microseconds,
)

__all__ = ["BEFORE_ALL", "Around", "Measured", "Opening", "Run", "runs_of", "until"]

BEFORE_ALL = -FOREVER
"""An instant before every other."""


def until(end: datetime | None) -> int:
    """Return the instant at which something ends, `FOREVER` if it has no end."""
    return FOREVER if end is None else microseconds(end)


def length(span: timedelta) -> int:
    """Return a duration in whole microseconds."""
    return span // timedelta(microseconds=1)


@dataclass(frozen=True, slots=True)
class Measured:
    """A check that counts, in microseconds."""

    key: str
    start: int
    end: int
    passed: bool


@dataclass(frozen=True, slots=True)
class Run:
    """A stretch of measuring between cuts: [start, end), `FOREVER` if it runs."""

    start: int
    end: int
    segment_end: int

    @property
    def running(self) -> bool:
        """Say whether it has not ended."""
        return self.end == FOREVER


@dataclass(frozen=True, slots=True)
class Opening:
    """What is valid at an instant.

    `check` is the latest pass up to then. It is `valid` before `valid_until` unless
    spoiled: `spoiled_by` is the later fail or break.
    """

    check: Measured | None
    valid_until: int
    spoiled_by: Measured | Break | None
    valid: bool


@dataclass(frozen=True, slots=True)
class Around:
    """The checks of one procedure on one system, and the breaks of that system."""

    procedure: Procedure
    passes: tuple[Measured, ...]
    fails: tuple[Measured, ...]
    breaks: tuple[Break, ...]

    @classmethod
    def of(
        cls, procedure: Procedure, checks: Iterable[Check], breaks: Sequence[Break]
    ) -> Around:
        """Take what counts from the records of one system."""
        instants = [microseconds(each.at) for each in breaks]
        passes, fails = [], []
        for check in checks:
            if check.procedure != procedure.key or not check.counts:
                continue
            start, end = microseconds(check.start), microseconds(check.end)
            measured = Measured(check.key, start, end, check.passed)
            if not check.passed:
                fails.append(measured)
            elif not any(start < instant < end for instant in instants):
                passes.append(measured)
        return cls(procedure, tuple(passes), tuple(fails), tuple(breaks))

    def opening(self, instant: int) -> Opening:
        """Return what is valid at an instant, and what spoiled it."""
        check = _latest(self.passes, instant)
        fail = _latest(self.fails, instant)
        broken = self.last_break(instant)
        spoiled_by: Measured | Break | None = fail
        spoiled_at = fail.end if fail else BEFORE_ALL
        if broken is not None and microseconds(broken.at) > spoiled_at:
            spoiled_by, spoiled_at = broken, microseconds(broken.at)
        if check is None:
            return Opening(None, BEFORE_ALL, spoiled_by, valid=False)
        valid_until = check.end + length(self.procedure.valid_for)
        if spoiled_at < check.end:
            spoiled_by = None
        valid = spoiled_by is None and instant < valid_until
        return Opening(check, valid_until, spoiled_by, valid)

    def closing(self, instant: int) -> Measured | None:
        """Return the first check that starts at or after an instant."""
        later = [each for each in (*self.fails, *self.passes) if each.start >= instant]
        return min(
            later,
            key=lambda each: (each.start, each.passed, each.end, each.key),
            default=None,
        )

    def last_break(self, instant: int) -> Break | None:
        """Return the latest break at or before an instant."""
        before = [each for each in self.breaks if microseconds(each.at) <= instant]
        return max(
            before, key=lambda each: (microseconds(each.at), each.key), default=None
        )

    def next_break(self, instant: int) -> Break | None:
        """Return the first break at or after an instant."""
        after = [each for each in self.breaks if microseconds(each.at) >= instant]
        return min(
            after, key=lambda each: (microseconds(each.at), each.key), default=None
        )

    def suspect_after(self, fail: Measured) -> int:
        """Return the start of the last pass before a fail: what it makes suspect.

        Measuring up to that instant was closed by the pass. A pass counts here if it
        was over when the failing check began, and began before it.
        """
        return max(
            (
                each.start
                for each in self.passes
                if each.end <= fail.start and each.start < fail.start
            ),
            default=BEFORE_ALL,
        )


def _latest(checks: Iterable[Measured], instant: int) -> Measured | None:
    ended = [each for each in checks if each.end <= instant]
    return max(ended, key=lambda each: (each.end, each.start, each.key), default=None)


def runs_of(segment: Segment, around: Around) -> Iterator[Run]:
    """Cut one segment into runs.

    Parameters
    ----------
    segment : Segment
        The stretch of measuring.
    around : Around
        The checks of one procedure, and the breaks.

    Yields
    ------
    Run
        In order of time. A segment that ended as it began is one run.
    """
    start, end = microseconds(segment.start), until(segment.end)
    cuts = [
        (each.end, each.start if each.start > start else each.end)
        for each in (*around.passes, *around.fails)
        if start < each.end < end
    ]
    for each in around.breaks:
        instant = microseconds(each.at)
        if start < instant < end:
            cuts.append((instant, instant))
    begun = start
    for cut, stopped in sorted(cuts):
        if stopped > begun:
            yield Run(begun, stopped, end)
        begun = cut
    if begun < end or start == end:
        yield Run(begun, end, end)
