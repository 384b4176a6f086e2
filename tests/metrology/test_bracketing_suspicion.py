"""The window of a failing check, and the sessions of other systems in it."""

import pytest
from hypothesis import given, settings

from lab.metrology.bracketing import (
    Break,
    FindingName,
    Segment,
    Session,
    Suspicion,
    judge,
    sessions_sharing,
    suspicion_of,
)
from lab.metrology.errors import OutOfDomain
from tests.metrology.bracketing_strategies import (
    PROCEDURES,
    breaks,
    checks,
    sessions,
    unique,
)
from tests.metrology.bracketing_strategies import at as step_at
from tests.metrology.timelines import at, check


def test_window_goes_back_to_the_last_pass_over_fails_and_breaks():
    made = [
        check("am", "8:00"),
        check("noon", "12:00", "fail"),
        check("sphere", "13:00", procedure="sphere"),
        check("other", "13:30", system="Petrel"),
        check("pm", "16:00", "fail"),
    ]
    window = suspicion_of(made[-1], made, [Break("knock", "Heron", at("11:00"))])
    assert (window.start, window.end) == (at("8:00"), at("16:10"))
    # A pass with a break in its midst is none.
    astride = suspicion_of(made[-1], made, [Break("knock", "Heron", at("8:05"))])
    assert astride.start is None


def test_only_a_fail_that_counts_has_a_window():
    with pytest.raises(OutOfDomain, match="Check am is no fail"):
        suspicion_of(check("am", "8:00"), [], [])
    with pytest.raises(OutOfDomain, match="Check am is no fail"):
        suspicion_of(check("am", "8:00", "fail", voided=True), [], [])


def test_sessions_of_other_systems_that_share_a_device():
    window = Suspicion("pm", "Heron", at("8:00"), at("16:10"))

    def session(key, system, start, end, *chain):
        return Session(key, system, (Segment(at(start), end and at(end)),), chain)

    measured = [
        session("own", "Heron", "9:00", "10:00", "tracker"),
        session("shares", "Petrel", "9:00", "10:00", "loupe", "tracker"),
        session("runs", "Petrel", "9:00", None, "bar"),
        session("apart", "Petrel", "9:00", "10:00", "loupe"),
        session("before", "Petrel", "7:00", "8:00", "tracker"),
        session("after", "Petrel", "16:10", "17:00", "tracker"),
    ]
    assert sessions_sharing(window, {"tracker", "bar"}, measured) == ("shares", "runs")


@settings(max_examples=100)
@given(unique(sessions(), 3), unique(checks(), 10), unique(breaks, 2))
def test_every_suspect_session_lies_in_the_window(measured, made, happened):
    fails = {each.key: each for each in made if not each.passed and not each.voided}
    for session in measured:
        needed = PROCEDURES[session.system]
        judged = judge(session, needed, made, happened, [], [], step_at(60))
        for finding in judged.findings:
            if finding.name is FindingName.SUSPECT:
                fail = fails[finding.cause.key]
                assert suspicion_of(fail, made, happened).covers(session)
