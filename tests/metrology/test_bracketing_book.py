"""The incremental form against the definition, after any sequence of events."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta

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
    Procedure,
    Segment,
    Session,
    judge,
)
from lab.metrology.bracketing.ordered import Ordered

EPOCH = datetime(2025, 4, 1, tzinfo=UTC)
STEP = timedelta(minutes=30)
SYSTEMS = ("Heron", "Petrel")
ITEMS = ("tracker", "bar")
PROCEDURES = {
    "Heron": (
        Procedure("bar", valid_for=16 * STEP, closing_within=6 * STEP),
        Procedure("sphere", valid_for=5 * STEP, closing_within=12 * STEP),
    ),
    "Petrel": (
        Procedure("bar", valid_for=8 * STEP, closing_within=STEP, closing_wanted=False),
    ),
}

# A coarse grid, so that equal instants, overlaps and empty spans are common.
steps = st.integers(0, 40)
names = st.integers(0, 5)


def at(step: int) -> datetime:
    return EPOCH + step * STEP


@st.composite
def sessions(draw):
    cuts = sorted(draw(st.lists(steps, min_size=2, max_size=6)))
    pairs = list(zip(cuts[::2], cuts[1::2], strict=False))
    segments = [Segment(at(start), at(end)) for start, end in pairs]
    if draw(st.booleans()) and draw(st.booleans()):
        segments[-1] = Segment(segments[-1].start, None)
    return Session(
        f"s{draw(names)}",
        draw(st.sampled_from(SYSTEMS)),
        tuple(segments),
        tuple(draw(st.lists(st.sampled_from(ITEMS), max_size=1))),
        ("vise",),
    )


@st.composite
def checks(draw):
    start = draw(steps)
    end = start + draw(st.sampled_from([0, 1, 1, 1, 2, 5]))
    return Check(
        f"c{draw(st.integers(0, 14))}",
        draw(st.sampled_from(SYSTEMS)),
        draw(st.sampled_from(["bar", "bar", "sphere"])),
        at(start),
        at(end),
        passed=draw(st.sampled_from([True, True, False])),
        recorded_at=at(end + draw(st.sampled_from([0, 0, 0, 3]))),
        voided=draw(st.sampled_from([False, False, False, True])),
        confirmed=draw(st.booleans()),
    )


breaks = st.builds(
    lambda number, system, step: Break(f"b{number}", system, at(step)),
    st.integers(0, 10**6),
    st.sampled_from(SYSTEMS),
    steps,
)


@st.composite
def spans(draw):
    first, last = sorted([draw(steps), draw(steps)])
    return at(first), draw(st.sampled_from([None, at(last), at(last)]))


calibrations = st.builds(
    lambda number, item, span: Calibration(f"k{number}", item, *span),
    st.integers(0, 10**6),
    st.sampled_from(ITEMS),
    spans(),
)
later_findings = st.builds(
    lambda number, about, span, name: LaterFinding(f"f{number}", about, *span, name),
    st.integers(0, 10**6),
    st.sampled_from([*ITEMS, *SYSTEMS, "vise", "s1", "s2"]),
    spans(),
    st.sampled_from([FindingName.SUSPECT, FindingName.CONDITIONS]),
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


@settings(max_examples=300, deadline=None)
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
    st.lists(breaks, max_size=3, unique_by=lambda each: each.key),
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
    st.lists(breaks, max_size=3, unique_by=lambda each: each.key),
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
