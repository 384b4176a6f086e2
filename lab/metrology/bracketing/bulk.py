"""The lapse rules for many sessions at once, on arrays.

The same answers as the definition, found by a handful of binary searches: for each
run the last pass, fail and break before its start, and the first check and break
after its end. The rules are those of the definition, which says why.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from lab.metrology.bracketing.collected import KINDS, Collected
from lab.metrology.bracketing.facts import FOREVER
from lab.metrology.bracketing.keyed import Axis
from lab.metrology.bracketing.records import AFTER_ALL, Records
from lab.metrology.bracketing.results import CauseKind, FindingName, State
from lab.metrology.bracketing.spanned import judge_spans
from lab.metrology.bracketing.stretches import Stretches
from lab.metrology.bracketing.tables import (
    JudgementTable,
    ProcedureTable,
    SegmentTable,
    Tabulated,
)

__all__ = ["judge_all"]

Integers = NDArray[np.int64]
Booleans = NDArray[np.bool_]

# Segments judged at a time: what is worked on then stays in the processor's cache.
_BLOCK = 1 << 15

_STATES = {state: number for number, state in enumerate(State)}


def judge_all(tables: Tabulated, now: int) -> JudgementTable:
    """Judge every session of some tables.

    Parameters
    ----------
    tables : Tabulated
        Sessions and everything known about them; see `tabulate`.
    now : int
        The present, in microseconds since 1970 in UTC.

    Returns
    -------
    JudgementTable
        One answer a session, equal to that of `judge`.

    Raises
    ------
    OutOfDomain
        If there are too many systems over too long a time for one array.

    Notes
    -----
    Records in order of system and time are judged fastest; any order is right.

    Examples
    --------
    >>> from lab.metrology.bracketing import tabulate
    >>> judge_all(tabulate([], {}, [], []), now=0).state.tolist()
    []
    """
    segments = tables.segments
    count = int(segments.session.max(initial=-1)) + 1
    collected = Collected.for_sessions(count)
    state = np.full(count, _STATES[State.BRACKETED], dtype=np.int64)
    by_procedure = np.zeros(count, dtype=np.bool_)
    if len(segments.start) and len(tables.procedures.system):
        for case in _Case.blocks(tables, now):
            judged = _judge_runs(case, collected)
            needed = case.needed
            np.minimum.at(state, case.session[needed], judged[needed])
            by_procedure[case.session[needed]] = True
    _without_procedure(segments, by_procedure, collected)
    state[~by_procedure] = _STATES[State.NOT_BRACKETED]
    state[segments.session[segments.end == FOREVER]] = _STATES[State.OPEN]
    judge_spans(tables, now, collected)
    return JudgementTable(state, collected.judge_again_at, collected.merged())


def _without_procedure(
    segments: SegmentTable, by_procedure: Booleans, collected: Collected
) -> None:
    """Note as unchecked what no procedure is needed for."""
    alone = np.flatnonzero(~by_procedure[segments.session])
    collected.add(
        segments.session[alone],
        FindingName.UNCHECKED,
        (CauseKind.SYSTEM, segments.system[alone]),
        -1,
        (segments.start[alone], segments.end[alone]),
    )


@dataclass(frozen=True, slots=True)
class _Case:
    """Every run, and the records around it.

    `base` and `row_end` are the first key of each run's row and the first of the
    next; `present` is now. `needed` is false where only fails are of account.
    """

    axis: Axis
    procedures: ProcedureTable
    records: Records
    runs: Stretches
    session: Integers
    segment_end: Integers
    base: Integers
    row_end: Integers
    present: Integers
    needed: Booleans

    @classmethod
    def blocks(cls, tables: Tabulated, now: int) -> Iterator[_Case]:
        """Yield the runs of all segments, a block of segments at a time."""
        segments, procedures, checks = tables.segments, tables.procedures, tables.checks
        axis = Axis.over(
            len(procedures.system),
            *(segments.start, segments.end, checks.start, checks.end),
            *(tables.breaks.at, np.array([now])),
        )
        records = Records.of(axis, procedures, checks, tables.breaks)
        further = []
        for first in range(0, len(segments.start), _BLOCK):
            block = slice(first, first + _BLOCK)
            part = SegmentTable(
                session=segments.session[block],
                system=segments.system[block],
                start=segments.start[block],
                end=segments.end[block],
            )
            runs, others = Stretches.of(axis, part, procedures, records)
            yield cls.of(axis, part, procedures, records, runs, now)
            further.append(replace(others, segment=others.segment + first))
        runs = Stretches.joined(further)
        if len(runs.start):
            yield cls.of(axis, segments, procedures, records, runs, now)

    @classmethod
    def of(
        cls,
        axis: Axis,
        segments: SegmentTable,
        procedures: ProcedureTable,
        records: Records,
        runs: Stretches,
        now: int,
    ) -> _Case:
        """Put beside some runs what the rules ask for."""
        base = axis.base(runs.row)
        return cls(
            axis=axis,
            procedures=procedures,
            records=records,
            runs=runs,
            session=segments.session[runs.segment],
            segment_end=segments.end[runs.segment],
            base=base,
            row_end=base + axis.span,
            present=base + (now - axis.origin),
            needed=procedures.needed[runs.row],
        )

    def note(
        self,
        collected: Collected,
        which: Integers,
        name: FindingName,
        cause: tuple[Integers | CauseKind, Integers],
        span: tuple[Integers, Integers],
    ) -> None:
        """Note findings on some runs, the span in keys."""
        row = self.runs.row[which]
        instants = (self.axis.instant(row, span[0]), self.axis.instant(row, span[1]))
        collected.add(self.session[which], name, cause, row, instants)

    def wait(self, collected: Collected, which: Integers, key: Integers) -> None:
        """Note that passing time changes what is said of some runs."""
        if not len(which):
            return
        instant = key - self.base[which] + self.axis.origin
        collected.wait(self.session[which], instant)


@dataclass(frozen=True, slots=True)
class _Opening:
    """What was valid at each run's start, as `Opening` for one."""

    check: Integers
    valid: Booleans
    valid_until: Integers


@dataclass(frozen=True, slots=True)
class _Closing:
    """What followed each run: a check, a break, and when the first of them came.

    `place` is that of the check among those in order of start.
    """

    has_check: Booleans
    place: Integers
    has_break: Booleans
    next_break: Integers
    first: Integers


def _judge_runs(case: _Case, collected: Collected) -> Integers:
    """Judge every run by the checks and breaks around it; return the states."""
    opening, closing = _opening(case), _closing(case)
    wanted = case.procedures.closing_wanted[case.runs.row]
    running = case.runs.running
    suspect = _suspect(case, collected)
    _unchecked(case, opening, collected)
    waiting = _lapsed(case, opening, closing, collected)
    unclosed = _unclosed(case, closing, collected)
    spoiled = ~opening.valid | suspect | unclosed | (wanted & ~closing.has_check)
    at_end = np.where(
        wanted, _STATES[State.BRACKETED], _STATES[State.CHECKED_AT_START_ONLY]
    )
    settled = np.where(spoiled, _STATES[State.NOT_BRACKETED], at_end)
    return np.where(running | waiting, _STATES[State.OPEN], settled)


def _opening(case: _Case) -> _Opening:
    records, runs = case.records, case.runs
    check = records.passes.key[runs.last_pass]
    spoiled = np.maximum(
        records.fails.key[runs.last_fail], records.breaks.key[runs.last_break]
    )
    until = check + case.procedures.valid_for[runs.row]
    valid = (check >= case.base) & (check > spoiled) & (runs.start < until)
    return _Opening(check, valid, np.where(valid, until, AFTER_ALL))


def _closing(case: _Case) -> _Closing:
    records, runs = case.records, case.runs
    place = records.starting.before(runs.end) + 1
    check_start = records.starting.key[place]
    has_check = ~runs.running & (check_start < case.row_end)
    next_break = records.breaks.key[runs.next_break]
    has_break = ~runs.running & (next_break < case.row_end)
    first = np.minimum(
        np.where(has_check, check_start, AFTER_ALL),
        np.where(has_break, next_break, AFTER_ALL),
    )
    return _Closing(has_check, place, has_break, next_break, first)


def _suspect(case: _Case, collected: Collected) -> Booleans:
    spans, runs = case.records.suspected, case.runs
    found, which = spans.touching(runs.start, runs.end, after=runs.last_fail)
    case.note(
        collected,
        which,
        FindingName.SUSPECT,
        (CauseKind.CHECK, spans.number[found]),
        (
            np.maximum(runs.start[which], spans.low[found]),
            np.minimum(runs.end[which], spans.high[found]),
        ),
    )
    suspect = np.zeros(len(runs.start), dtype=np.bool_)
    suspect[which] = True
    return suspect


def _unchecked(case: _Case, opening: _Opening, collected: Collected) -> None:
    which = np.flatnonzero(~opening.valid & case.needed)
    records, runs, base = case.records, case.runs, case.base[which]
    fail = records.fails.key[runs.last_fail[which]]
    broken = records.breaks.key[runs.last_break[which]]
    check = opening.check[which]
    spoiled = np.maximum(fail, broken)
    by_event = (spoiled >= base) & (spoiled >= check)
    by_break = by_event & (broken > fail)
    by_fail = by_event & ~by_break
    by_time = ~by_event & (check >= base)
    kind = np.full(len(which), KINDS[CauseKind.PROCEDURE])
    kind[by_fail | by_time] = KINDS[CauseKind.CHECK]
    kind[by_break] = KINDS[CauseKind.BREAK]
    cause = runs.row[which].copy()
    cause[by_time] = records.passes.number[runs.last_pass[which[by_time]]]
    cause[by_fail] = records.fails.number[runs.last_fail[which[by_fail]]]
    cause[by_break] = records.breaks.number[runs.last_break[which[by_break]]]
    span = (runs.start[which], runs.end[which])
    case.note(collected, which, FindingName.UNCHECKED, (kind, cause), span)


def _lapsed(
    case: _Case, opening: _Opening, closing: _Closing, collected: Collected
) -> Booleans:
    """Note lapses; return which runs still wait for a closing check."""
    runs, rows = case.runs, case.runs.row
    measured_until = np.where(
        runs.running, np.maximum(case.present, runs.start), runs.end
    )
    within = case.needed & (opening.valid_until < measured_until)
    _note_lapse(case, opening, within, opening.valid_until, collected)
    lasting = np.flatnonzero(case.needed & runs.running & opening.valid & ~within)
    case.wait(collected, lasting, opening.valid_until[lasting])

    wanted = case.needed & case.procedures.closing_wanted[rows] & ~runs.running
    by_wait = np.where(
        case.segment_end == FOREVER,
        AFTER_ALL,
        case.axis.key(rows, case.segment_end) + case.procedures.closing_within[rows],
    )
    deadline = np.minimum(opening.valid_until, by_wait)
    overdue = wanted & (np.minimum(closing.first, case.present) > deadline)
    _note_lapse(case, opening, overdue, runs.start, collected)
    waiting = wanted & ~overdue
    lasting = np.flatnonzero(waiting & (closing.first > deadline))
    case.wait(collected, lasting, deadline[lasting])
    return np.asarray(waiting & (closing.first == AFTER_ALL))


def _note_lapse(
    case: _Case,
    opening: _Opening,
    lapsed: Booleans,
    start: Integers,
    collected: Collected,
) -> None:
    which = np.flatnonzero(lapsed)
    if not len(which):
        return
    runs, valid = case.runs, opening.valid[which]
    kind = np.where(valid, KINDS[CauseKind.CHECK], KINDS[CauseKind.PROCEDURE])
    opened_by = case.records.passes.number[runs.last_pass[which]]
    cause = np.where(valid, opened_by, runs.row[which])
    span = (start[which], runs.end[which])
    case.note(collected, which, FindingName.LAPSED, (kind, cause), span)


def _unclosed(case: _Case, closing: _Closing, collected: Collected) -> Booleans:
    runs, records = case.runs, case.records
    wanted = case.needed & case.procedures.closing_wanted[runs.row]
    broken = np.flatnonzero(wanted & closing.has_break)
    check_end = records.starting.other[closing.place[broken]]
    checked = closing.has_check[broken] & (check_end <= closing.next_break[broken])
    which = broken[~checked]
    cause = records.breaks.number[runs.next_break[which]]
    span = (runs.start[which], runs.end[which])
    case.note(collected, which, FindingName.UNCLOSED, (CauseKind.BREAK, cause), span)
    unclosed = np.zeros(len(runs.start), dtype=np.bool_)
    unclosed[which] = True
    return unclosed
