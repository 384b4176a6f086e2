"""The facts and answers of many sessions as arrays.

Rows name each other by position: a segment its session and system, a check the
procedure followed, where a procedure stands once for each system that uses it. Times
are int64 microseconds of UTC; what has not ended, ends at `FOREVER`.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lab.metrology.bracketing.facts import (
    Break,
    Calibration,
    Check,
    LaterFinding,
    Procedure,
    Session,
    microseconds,
)
from lab.metrology.bracketing.runs import length, until

__all__ = [
    "BreakTable",
    "CalibrationTable",
    "CheckTable",
    "FindingTable",
    "InvolvedTable",
    "JudgementTable",
    "LaterFindingTable",
    "ProcedureTable",
    "SegmentTable",
    "Tabulated",
    "tabulate",
]

Integers = NDArray[np.int64]
Booleans = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class SegmentTable:
    """N segments of measuring; sessions are numbered from 0 without gaps."""

    session: Integers
    system: Integers
    start: Integers
    end: Integers


@dataclass(frozen=True, slots=True)
class ProcedureTable:
    """P procedures, one row for each system that one belongs to.

    A row that is not `needed` is there for its fails only.
    """

    system: Integers
    valid_for: Integers
    closing_within: Integers
    closing_wanted: Booleans
    needed: Booleans


@dataclass(frozen=True, slots=True)
class CheckTable:
    """M checks that count: neither voided nor, if they passed, late and alone."""

    procedure: Integers
    start: Integers
    end: Integers
    passed: Booleans


@dataclass(frozen=True, slots=True)
class BreakTable:
    """K breaks."""

    system: Integers
    at: Integers


@dataclass(frozen=True, slots=True)
class InvolvedTable:
    """Which session rests on which item, and whether that must be calibrated.

    Systems and sessions that a later finding may be about are items as well.
    """

    session: Integers
    item: Integers
    calibrated: Booleans


@dataclass(frozen=True, slots=True)
class CalibrationTable:
    """The times for which items are current."""

    item: Integers
    start: Integers
    end: Integers


@dataclass(frozen=True, slots=True)
class LaterFindingTable:
    """Later findings; `name` is the rank of a `FindingName`."""

    item: Integers
    name: Integers
    start: Integers
    end: Integers


@dataclass(frozen=True, slots=True)
class FindingTable:
    """Findings, one a row, sorted by session, name, cause and procedure.

    Attributes
    ----------
    session : ndarray
        Number of the session.
    name : ndarray
        Rank of the `FindingName`.
    cause_kind, cause : ndarray
        Position of the kind in `CauseKind`, and of the record in its table.
    procedure : ndarray
        Row of the procedure; -1 where none is.
    start, end : ndarray
        The part of the session concerned.
    """

    session: Integers
    name: Integers
    cause_kind: Integers
    cause: Integers
    procedure: Integers
    start: Integers
    end: Integers


@dataclass(frozen=True, slots=True)
class JudgementTable:
    """The answers for S sessions.

    Attributes
    ----------
    state : ndarray, shape (S,)
        Position of each session's state in `State`.
    judge_again_at : ndarray, shape (S,)
        When passing time changes the answer; `FOREVER` if only an event can.
    findings : FindingTable
        All findings on all sessions.
    """

    state: Integers
    judge_again_at: Integers
    findings: FindingTable


@dataclass(frozen=True, slots=True)
class Tabulated:
    """Records as tables, with the keys that their rows stand for."""

    segments: SegmentTable
    procedures: ProcedureTable
    checks: CheckTable
    breaks: BreakTable
    involved: InvolvedTable
    calibrations: CalibrationTable
    later_findings: LaterFindingTable
    session_keys: tuple[str, ...]
    system_keys: tuple[str, ...]
    procedure_keys: tuple[str, ...]
    check_keys: tuple[str, ...]
    break_keys: tuple[str, ...]
    item_keys: tuple[str, ...]
    later_finding_keys: tuple[str, ...]


def tabulate(
    sessions: Sequence[Session],
    procedures: Mapping[str, Sequence[Procedure]],
    checks: Iterable[Check],
    breaks: Iterable[Break],
    calibrations: Iterable[Calibration] = (),
    later_findings: Iterable[LaterFinding] = (),
) -> Tabulated:
    """Turn records into tables.

    Parameters
    ----------
    sessions : sequence of Session
        Each becomes a number, in this order.
    procedures : mapping of str to sequence of Procedure
        For each system the procedures that it needs.
    checks, breaks, calibrations, later_findings : iterable
        As in `judge`, of all systems.

    Returns
    -------
    Tabulated

    Examples
    --------
    >>> tables = tabulate([], {}, [], [])
    >>> len(tables.segments.session), tables.system_keys
    (0, ())
    """
    counted = sorted((each for each in checks if each.counts), key=lambda c: c.key)
    happened = sorted(breaks, key=lambda each: each.key)
    found = tuple(later_findings)
    systems = _numbers(
        [
            *procedures,
            *(session.system for session in sessions),
            *(check.system for check in counted),
            *(event.system for event in happened),
        ]
    )
    rows = _procedure_rows(procedures, counted)
    row_of = {place: row for row, place in enumerate(rows)}
    items, involved = _involved(sessions)
    return Tabulated(
        segments=_segments(sessions, systems),
        procedures=ProcedureTable(
            system=_integers([systems[system] for system, _ in rows]),
            valid_for=_integers([length(each.valid_for) for each in rows.values()]),
            closing_within=_integers(
                [length(each.closing_within) for each in rows.values()]
            ),
            closing_wanted=_booleans([each.closing_wanted for each in rows.values()]),
            needed=_booleans(
                [
                    key in {each.key for each in procedures.get(system, ())}
                    for system, key in rows
                ]
            ),
        ),
        checks=CheckTable(
            procedure=_integers([row_of[c.system, c.procedure] for c in counted]),
            start=_integers([microseconds(check.start) for check in counted]),
            end=_integers([microseconds(check.end) for check in counted]),
            passed=_booleans([check.passed for check in counted]),
        ),
        breaks=BreakTable(
            system=_integers([systems[event.system] for event in happened]),
            at=_integers([microseconds(event.at) for event in happened]),
        ),
        involved=involved,
        calibrations=_calibrations(calibrations, items),
        later_findings=_later_findings(found, items),
        session_keys=tuple(session.key for session in sessions),
        system_keys=tuple(systems),
        procedure_keys=tuple(key for _, key in rows),
        check_keys=tuple(check.key for check in counted),
        break_keys=tuple(event.key for event in happened),
        item_keys=tuple(items),
        later_finding_keys=tuple(each.key for each in found if each.about in items),
    )


def _numbers(names: Iterable[str]) -> dict[str, int]:
    return {name: number for number, name in enumerate(dict.fromkeys(names))}


def _integers(values: Sequence[int]) -> Integers:
    return np.array(values, dtype=np.int64)


def _booleans(values: Sequence[bool]) -> Booleans:
    return np.array(values, dtype=np.bool_)


def _procedure_rows(
    procedures: Mapping[str, Sequence[Procedure]], checks: Iterable[Check]
) -> dict[tuple[str, str], Procedure]:
    """Return a row for each procedure of each system, needed or only followed."""
    rows = {
        (system, each.key): each
        for system, needed in procedures.items()
        for each in needed
    }
    for check in checks:
        place = (check.system, check.procedure)
        if place not in rows:
            rows[place] = Procedure.only_followed(check.procedure)
    return rows


def _segments(sessions: Sequence[Session], systems: Mapping[str, int]) -> SegmentTable:
    listed = [
        (number, systems[session.system], microseconds(each.start), until(each.end))
        for number, session in enumerate(sessions)
        for each in session.segments
    ]
    columns = np.array(listed, dtype=np.int64).reshape(-1, 4).T
    return SegmentTable(*(np.ascontiguousarray(column) for column in columns))


def _involved(sessions: Sequence[Session]) -> tuple[dict[str, int], InvolvedTable]:
    listed = []
    for number, session in enumerate(sessions):
        chain = dict.fromkeys(session.chain, True)
        others = (session.key, session.system, *session.uses)
        names = dict.fromkeys(others, False) | chain
        listed += [(number, name, calibrated) for name, calibrated in names.items()]
    items = _numbers(name for _, name, _ in listed)
    return items, InvolvedTable(
        session=_integers([number for number, _, _ in listed]),
        item=_integers([items[name] for _, name, _ in listed]),
        calibrated=_booleans([calibrated for _, _, calibrated in listed]),
    )


def _calibrations(
    calibrations: Iterable[Calibration], items: Mapping[str, int]
) -> CalibrationTable:
    listed = [each for each in calibrations if each.item in items]
    return CalibrationTable(
        item=_integers([items[each.item] for each in listed]),
        start=_integers([microseconds(each.start) for each in listed]),
        end=_integers([until(each.end) for each in listed]),
    )


def _later_findings(
    found: Iterable[LaterFinding], items: Mapping[str, int]
) -> LaterFindingTable:
    listed = [each for each in found if each.about in items]
    return LaterFindingTable(
        item=_integers([items[each.about] for each in listed]),
        name=_integers([each.name.rank for each in listed]),
        start=_integers([microseconds(each.start) for each in listed]),
        end=_integers([until(each.end) for each in listed]),
    )
