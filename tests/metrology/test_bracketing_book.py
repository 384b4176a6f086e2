"""The incremental form against the definition, after any sequence of events."""

from dataclasses import replace
from datetime import timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lab.metrology.bracketing import (
    Book,
    Break,
    Calibration,
    Check,
    FindingName,
    LaterFinding,
    Segment,
    Session,
    judge,
)
from lab.metrology.bracketing.ordered import Ordered
from tests.metrology.bracketing_strategies import (
    PROCEDURES,
    STEP,
    at,
    breaks,
    calibrations,
    checks,
    later_findings,
    sessions,
    steps,
    unique,
)

events = st.one_of(
    sessions(),
    sessions(),
    checks(),
    checks(),
    checks(),
    breaks,
    calibrations,
    later_findings,
    st.none(),
)


class Ledger:
    """Every fact, judged in full by the definition."""

    def __init__(self):
        self.sessions, self.checks, self.breaks = {}, {}, {}
        self.calibrations, self.later = {}, {}

    def record(self, event):
        kinds = {
            Session: self.sessions,
            Check: self.checks,
            Break: self.breaks,
            Calibration: self.calibrations,
            LaterFinding: self.later,
        }
        kinds[type(event)][event.key] = event

    def judged(self, now):
        return {
            key: judge(
                session,
                PROCEDURES[session.system],
                self.checks.values(),
                self.breaks.values(),
                self.calibrations.values(),
                self.later.values(),
                now,
            )
            for key, session in self.sessions.items()
        }


def record(book, event, now):
    kinds = {
        Session: book.record_session,
        Check: book.record_check,
        Break: book.record_break,
        Calibration: book.record_calibration,
        LaterFinding: book.record_later_finding,
    }
    return kinds[type(event)](event, now)


def known(ledger, event) -> bool:
    """Say whether an insert-only fact was told already."""
    return isinstance(event, Break | Calibration | LaterFinding) and event.key in (
        ledger.breaks | ledger.calibrations | ledger.later
    )


@settings(max_examples=150, deadline=None)
@given(st.lists(events, min_size=5, max_size=40), st.integers(0, 50))
def test_incremental_equals_full_after_any_sequence_of_events(sequence, begun):
    book, ledger, now = Book(PROCEDURES), Ledger(), at(begun)
    answers = {}
    for event in sequence:
        now += STEP / 3
        judged = set(book.pass_time(now))
        if event is not None and not known(ledger, event):
            ledger.record(event)
            judged |= record(book, event, now)
        full = ledger.judged(now)
        assert {key: book.judgement(key) for key in full} == full
        # What was not judged again had no reason to be.
        changed = {key for key in full if answers.get(key) != full[key]}
        assert changed <= judged
        answers = full


@settings(max_examples=150, deadline=None)
@given(
    st.lists(sessions(), min_size=1, max_size=4),
    st.lists(checks(), max_size=10),
    unique(breaks, 3),
    steps,
)
def test_loaded_archive_equals_one_that_grew(measured, made, happened, now):
    made = list({each.key: each for each in made}.values())
    measured = list({each.key: each for each in measured}.values())
    grown, loaded = Book(PROCEDURES), Book(PROCEDURES)
    for event in [*made, *measured, *happened]:
        record(grown, event, at(now))
    loaded.load(measured, made, happened)
    loaded.judge_everything(at(now))
    for session in measured:
        assert loaded.judgement(session.key) == grown.judgement(session.key)


@settings(max_examples=200, deadline=None)
@given(
    st.lists(sessions(), min_size=1, max_size=3),
    st.lists(checks(), max_size=8),
    unique(breaks, 3),
    st.integers(0, 60),
)
def test_answer_stands_until_it_must_be_judged_again(measured, made, happened, now):
    """Passing time changes an answer at the instant foretold and not before."""
    for session in measured:
        facts = (PROCEDURES[session.system], made, happened, [], [])
        before = judge(session, *facts, at(now))
        again = before.judge_again_at
        later = at(200) if again is None else again - timedelta(microseconds=1)
        unchanged = judge(session, *facts, later)
        assert unchanged == before
        if again is not None:
            assert again > at(now)
            assert judge(session, *facts, again) != before


def test_event_judges_only_what_lies_between_its_neighbours():
    book = Book({"Heron": PROCEDURES["Heron"][:1]})
    day = 48
    for number in range(30):
        begun = number * day
        book.load(
            [Session(f"s{number}", "Heron", (Segment(at(begun + 2), at(begun + 6)),))],
            [Check(f"c{number}", "Heron", "bar", at(begun), at(begun + 1), True)],
        )
    now = at(30 * day)
    assert len(book.judge_everything(now)) == 30
    fail = Check("x", "Heron", "bar", at(15 * day + 8), at(15 * day + 9), False)
    assert book.record_check(fail, now) == {"s15"}
    assert FindingName.SUSPECT in book.judgement("s15").names
    assert book.record_check(replace(fail, voided=True), now) == {"s15"}
    knock = Break("knock", "Heron", at(20 * day + 7))
    assert book.record_break(knock, now) == {"s20"}


def test_pass_and_fail_that_end_together_are_found_together():
    """The fail counts; walking back to the last pass must not stop short of it."""
    made = [
        Check("fail", "Heron", "bar", at(0), at(2), passed=False),
        Check("pass", "Heron", "bar", at(1), at(2), passed=True),
    ]
    session = Session("s", "Heron", (Segment(at(3), at(4)),))
    book = Book({"Heron": PROCEDURES["Heron"][:1]})
    book.load([session], made)
    book.judge_everything(at(5))
    assert FindingName.UNCHECKED in book.judgement("s").names


def test_fail_during_the_pass_after_a_session_is_found():
    """It began before that pass was over, so the pass does not shield from it."""
    made = [
        Check("am", "Heron", "bar", at(0), at(1), passed=True),
        Check("pass", "Heron", "bar", at(5), at(8), passed=True),
        Check("fail", "Heron", "bar", at(6), at(7), passed=False),
    ]
    session = Session("s", "Heron", (Segment(at(3), at(4)),))
    book = Book({"Heron": PROCEDURES["Heron"][:1]})
    book.load([session], made)
    book.judge_everything(at(9))
    assert FindingName.SUSPECT in book.judgement("s").names


def test_unknown_session_is_a_key_error():
    with pytest.raises(KeyError):
        Book({}).judgement("none")


def test_facts_about_nothing_measured_judge_nothing():
    book = Book({})
    assert book.record_calibration(Calibration("k", "bar", at(0), None), at(1)) == set()
    assert book.record_break(Break("b", "Heron", at(0)), at(1)) == set()


@given(st.lists(st.tuples(st.integers(0, 30), st.integers(0, 3)), unique=True))
def test_ordered_is_a_sorted_list(pairs):
    ordered, plain = Ordered(), []
    for number, (first, second) in enumerate(pairs * 40):
        entry = (first, second, f"{number:05d}")
        ordered.add(*entry, entry)
        plain.append(entry)
    for entry in plain[::3]:
        ordered.remove(*entry)
    left = sorted(set(plain) - set(plain[::3]))
    assert len(ordered) == len(left)
    for instant in (-1, 0, 7, 30, 31):
        forwards = [entry for entry in left if entry[0] >= instant]
        backwards = [entry for entry in reversed(left) if entry[0] <= instant]
        assert list(ordered.from_instant(instant)) == forwards
        assert list(ordered.up_to_instant(instant)) == backwards
    with pytest.raises(KeyError):
        ordered.remove(99, 0, "none")
