"""The form on arrays against the definition."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lab.metrology.bracketing import (
    CauseKind,
    FindingName,
    Segment,
    Session,
    State,
    judge,
    judge_all,
    tabulate,
)
from lab.metrology.bracketing.facts import FOREVER, microseconds
from lab.metrology.bracketing.runs import until
from lab.metrology.errors import OutOfDomain
from tests.metrology.bracketing_strategies import (
    PROCEDURES,
    at,
    breaks,
    calibrations,
    checks,
    later_findings,
    sessions,
    steps,
    systems,
    unique,
)

KINDS, NAMES, STATES = list(CauseKind), list(FindingName), list(State)


def read(tables, table) -> dict:
    """Return the answers by session, with the keys that rows stand for."""
    keys = {
        CauseKind.CHECK: tables.check_keys,
        CauseKind.BREAK: tables.break_keys,
        CauseKind.ITEM: tables.item_keys,
        CauseKind.FINDING: tables.later_finding_keys,
        CauseKind.PROCEDURE: tables.procedure_keys,
        CauseKind.SYSTEM: tables.system_keys,
    }
    found = {key: set() for key in tables.session_keys}
    rows = table.findings
    for row in range(len(rows.session)):
        kind = KINDS[rows.cause_kind[row]]
        procedure = rows.procedure[row]
        found[tables.session_keys[rows.session[row]]].add(
            (
                NAMES[rows.name[row]],
                kind,
                keys[kind][rows.cause[row]],
                "" if procedure < 0 else tables.procedure_keys[procedure],
                int(rows.start[row]),
                int(rows.end[row]),
            )
        )
    return {
        key: (
            STATES[table.state[number]],
            int(table.judge_again_at[number]),
            found[key],
        )
        for number, key in enumerate(tables.session_keys)
    }


def told(judgement) -> tuple:
    return (
        judgement.state,
        until(judgement.judge_again_at),
        {
            (
                each.name,
                each.cause.kind,
                each.cause.key,
                each.procedure,
                microseconds(each.start),
                until(each.end),
            )
            for each in judgement.findings
        },
    )


@settings(max_examples=250, deadline=None)
@given(
    unique(sessions(systems=st.one_of(systems, st.just("unknown"))), 5),
    unique(checks(), 14),
    unique(breaks, 4),
    unique(calibrations, 3),
    unique(later_findings, 3),
    st.integers(0, 60),
)
def test_arrays_equal_the_definition(measured, made, happened, current, later, now):
    tables = tabulate(measured, PROCEDURES, made, happened, current, later)
    answers = read(tables, judge_all(tables, microseconds(at(now))))
    for session in measured:
        needed = PROCEDURES.get(session.system, ())
        judged = judge(session, needed, made, happened, current, later, at(now))
        assert answers[session.key] == told(judged)


@given(unique(sessions(), 5), unique(checks(), 10), steps, st.randoms())
@settings(max_examples=100, deadline=None)
def test_order_of_records_does_not_matter(measured, made, now, random):
    tables = tabulate(measured, PROCEDURES, made, [])
    shuffled, mixed = list(measured), list(made)
    random.shuffle(shuffled)
    random.shuffle(mixed)
    others = tabulate(shuffled, PROCEDURES, mixed, [])
    instant = microseconds(at(now))
    assert read(tables, judge_all(tables, instant)) == read(
        others, judge_all(others, instant)
    )


def test_nothing_to_judge():
    tables = tabulate([], PROCEDURES, [], [])
    judged = judge_all(tables, 0)
    assert judged.state.shape == judged.findings.session.shape == (0,)


def test_session_of_a_system_without_procedures():
    session = Session("s", "Heron", (Segment(at(1), at(2)), Segment(at(3), at(4))))
    tables = tabulate([session], {}, [], [])
    answer = read(tables, judge_all(tables, microseconds(at(9))))["s"]
    assert answer[:2] == (State.NOT_BRACKETED, FOREVER)
    assert answer == told(judge(session, [], [], [], [], [], at(9)))


def test_more_rows_than_one_array_can_hold_are_refused():
    rows = 1 << 14
    tables = tabulate(
        [Session("s", "Heron", (Segment(at(1), at(2)),))], PROCEDURES, [], []
    )
    many = np.arange(rows)
    from dataclasses import replace

    procedures = replace(
        tables.procedures,
        system=many,
        valid_for=many,
        closing_within=many,
        closing_wanted=many > 0,
        needed=many > 0,
    )
    century = microseconds(at(1)) + 100 * 366 * 86_400 * 10**6
    with pytest.raises(OutOfDomain, match="too many at once"):
        judge_all(replace(tables, procedures=procedures), century)
