"""Timelines with the findings that the lapse rules demand, written out by hand.

Each test is one story of a laboratory. The expected findings come from the words of
the rules, which stand quoted or summed up above each story, not from the code. These
are about validity, waiting, calibrations and what is found later.
"""

from datetime import date, datetime
from zoneinfo import ZoneInfo

from lab.metrology.bracketing import (
    Break,
    Calibration,
    Check,
    FindingName,
    LaterFinding,
    Procedure,
    Segment,
    Session,
    State,
    end_of_local_day,
)
from tests.metrology.timelines import (
    HOUR,
    SPHERE,
    START_ONLY,
    TICK,
    at,
    causes,
    check,
    session,
    told,
)


def test_night_of_a_clock_change():
    """24 h of validity are 24 h of time, not the same time on the next day's clock."""
    zone = ZoneInfo("Europe/London")

    def local(day, hour, minute=0, fold=0):
        return datetime(2025, 10, day, hour, minute, tzinfo=zone, fold=fold)

    # Clocks go back at 02:00 on 26 October: that night is an hour longer.
    opened = Check("am", "Heron", "bar", local(25, 8), local(25, 8, 10), True)
    closed = Check("pm", "Heron", "bar", local(26, 7, 5), local(26, 7, 15), True)
    night = Session("night", "Heron", (Segment(local(25, 22), local(26, 6)),))
    found = told(night, checks=[opened, closed], now=local(30, 9))
    assert found.state is State.BRACKETED
    # On the clock 07:30 is within 24 h of 08:10; in truth 24 h 20 min have passed.
    late = Check("pm", "Heron", "bar", local(26, 7, 30), local(26, 7, 40), True)
    found = told(night, checks=[opened, late], now=local(30, 9))
    assert causes(found) == {("lapsed", "check", "am")}
    # The repeated hour: half past one comes twice, and the second is later.
    twice = Session(
        "twice",
        "Heron",
        (Segment(local(26, 1, 30), local(26, 1, 30, fold=1)),),
    )
    found = told(twice, checks=[opened, closed], now=local(30, 9))
    assert found.state is State.BRACKETED
    # On the night in spring the 30th of March is over after 23 hours.
    short = end_of_local_day(date(2025, 3, 30), zone)
    assert short - end_of_local_day(date(2025, 3, 29), zone) == 23 * HOUR


def test_open_raises_no_finding_but_blocks_issue():
    found = told(session("9:00-11:00"), checks=[check("am", "8:00")], now=at("12:00"))
    assert found.findings == ()
    assert found.state is State.OPEN
    assert found.blocks_issue
    # The closing check is due while the opening one is valid: 8:10 next morning.
    assert found.judge_again_at == at("8:10", day=2) + TICK


def test_overdue_closing_check():
    """Lapsed from now > min(end of validity, segment end + closing_within) on."""
    soon = Procedure("bar", valid_for=24 * HOUR, closing_within=4 * HOUR)
    measured, opening = session("9:00-11:00"), check("am", "8:00")

    def now(instant, *later):
        return told(measured, procedures=[soon], checks=[opening, *later], now=instant)

    assert now(at("15:00")).findings == ()
    assert now(at("15:00")).judge_again_at == at("15:00") + TICK
    overdue = now(at("15:00") + TICK)
    assert causes(overdue) == {("lapsed", "check", "am")}
    assert overdue.state is State.NOT_BRACKETED
    # A pass that comes after all leaves it lapsed, and stands beside it.
    (lapsed,) = now(at("18:00"), check("evening", "16:00")).findings
    assert lapsed.name is FindingName.LAPSED
    assert (lapsed.next_check, lapsed.next_passed) == ("evening", True)
    # At the very end of the wait it still comes in time.
    assert now(at("18:00"), check("three", "15:00")).state is State.BRACKETED


def test_validity_that_ends_before_the_wait_is_over_sets_the_deadline():
    checks = [check("am", "8:00", procedure="sphere")]
    measured = session("9:00-11:00")
    found = told(measured, procedures=[SPHERE], checks=checks, now=at("12:10"))
    assert found.judge_again_at == at("12:10") + TICK
    found = told(measured, procedures=[SPHERE], checks=checks, now=at("12:11"))
    assert causes(found) == {("lapsed", "check", "am")}


def test_item_found_out_of_tolerance_for_a_span_of_dates():
    zone = ZoneInfo("Europe/London")
    span = (
        end_of_local_day(date(2025, 3, 31), zone),
        end_of_local_day(date(2025, 4, 3), zone),
    )
    later = [LaterFinding("F7", "steel bar", *span)]

    def on(day, chain):
        return told(
            session("9:00-11:00", day=day, chain=chain),
            checks=[check("am", "8:00", day=day), check("pm", "12:00", day=day)],
            calibrations=[
                Calibration("K1", "steel bar", at("0:00"), None),
                Calibration("K2", "invar bar", at("0:00"), None),
            ],
            later=later,
        )

    for day in (1, 2, 3):
        assert causes(on(day, ["steel bar"])) == {("suspect", "finding", "F7")}
    assert on(4, ["steel bar"]).findings == ()
    assert on(2, ["invar bar"]).findings == ()
    # What the checks said stands beside it.
    assert on(2, ["steel bar"]).state is State.BRACKETED


def test_calibration_is_current_to_the_end_of_its_local_day():
    zone = ZoneInfo("America/New_York")
    due = Calibration(
        "K1", "tracker", at("0:00"), end_of_local_day(date(2025, 4, 1), zone)
    )
    checks = [check("am", "8:00"), check("night", "5:00", day=2)]

    def until(end):
        measured = Session(
            "late shift", "Heron", (Segment(at("20:00"), end),), ("tracker",)
        )
        return told(measured, checks=checks, calibrations=[due])

    # Midnight in New York is four in the morning in UTC.
    assert until(at("4:00", day=2)).findings == ()
    over = until(at("4:01", day=2))
    assert causes(over) == {("calibration not current", "item", "tracker")}
    (finding,) = over.findings
    assert (finding.start, finding.end) == (at("4:00", day=2), at("4:01", day=2))
    # The next calibration begins where this one ends: no gap, no finding.
    renewed = Calibration("K2", "tracker", at("4:00", day=2), None)
    measured = Session(
        "late shift", "Heron", (Segment(at("20:00"), at("4:30", 2)),), ("tracker",)
    )
    found = told(measured, checks=checks, calibrations=[renewed, due])
    assert found.findings == ()
    # An item without any calibration was never current.
    measured = Session("x", "Heron", (Segment(at("9:00"), at("10:00")),), ("logger",))
    found = told(measured, checks=checks, calibrations=[due])
    assert ("calibration not current", "item", "logger") in causes(found)


def test_validity_that_runs_out_within_a_segment():
    """A lapse whose next check passed is still a lapse."""
    checks = [
        check("am", "8:00", procedure="sphere"),
        check("pm", "15:10", procedure="sphere"),
    ]
    found = told(session("11:00-15:00"), procedures=[SPHERE], checks=checks)
    (lapsed,) = found.findings
    assert lapsed.name is FindingName.LAPSED
    assert (lapsed.next_check, lapsed.next_passed) == ("pm", True)
    # To the very end of the validity there is none.
    to_the_end = told(
        session("11:00-12:10"),
        procedures=[SPHERE],
        checks=[checks[0], check("noon", "12:10", procedure="sphere")],
    )
    assert to_the_end.state is State.BRACKETED


def test_procedure_that_wants_no_closing_check():
    """Checked at start only; no wait, nothing unclosed; a fail is a fail."""
    knock = Break("knock", "Heron", at("11:30"))
    opening = check("am", "8:00")
    alone = told(session("9:00-11:00"), procedures=[START_ONLY], checks=[opening])
    assert alone.state is State.CHECKED_AT_START_ONLY
    assert alone.findings == ()
    assert not alone.blocks_issue
    knocked = told(
        session("9:00-11:00"),
        procedures=[START_ONLY],
        checks=[opening],
        breaks=[knock],
    )
    assert knocked.state is State.CHECKED_AT_START_ONLY
    failed = told(
        session("9:00-11:00"),
        procedures=[START_ONLY],
        checks=[opening, check("pm", "12:00", "fail")],
    )
    assert causes(failed) == {("suspect", "check", "pm")}


def test_running_session_is_open_until_its_validity_is_over():
    checks = [check("am", "8:00", procedure="sphere")]
    running = session("9:00-")
    found = told(running, procedures=[SPHERE], checks=checks, now=at("12:10"))
    assert found.state is State.OPEN
    assert found.findings == ()
    assert found.judge_again_at == at("12:10") + TICK
    found = told(running, procedures=[SPHERE], checks=checks, now=at("12:10") + TICK)
    (lapsed,) = found.findings
    assert lapsed.name is FindingName.LAPSED
    assert (lapsed.start, lapsed.end) == (at("12:10"), None)
    assert found.state is State.OPEN


def test_running_session_waits_for_a_calibration_to_run_out():
    due = Calibration("K1", "tracker", at("0:00"), at("10:00"))
    running = session("9:00-", chain=["tracker"])
    before = told(
        running, checks=[check("am", "8:00")], calibrations=[due], now=at("9:30")
    )
    assert before.judge_again_at == at("10:00") + TICK
    after = told(
        running,
        checks=[check("am", "8:00")],
        calibrations=[due],
        now=at("10:00") + TICK,
    )
    assert causes(after) == {("calibration not current", "item", "tracker")}


def test_findings_are_a_set_and_the_worst_stands_first():
    whole_day = (at("0:00"), at("0:00", day=2))
    later = [
        LaterFinding("N1", "job 1", *whole_day, FindingName.AUTHORISATION),
        LaterFinding("N2", "vise", *whole_day, FindingName.FIXTURE),
        LaterFinding("N3", "job 1", *whole_day, FindingName.CONDITIONS),
        LaterFinding("N4", "job 1", *whole_day, FindingName.FRAME),
        LaterFinding("N5", "job 2", *whole_day, FindingName.FRAME),
        LaterFinding("N6", "Heron", at("8:00"), at("9:00"), FindingName.SUSPECT),
    ]
    checks = [check("noon", "12:00", "fail")]
    found = told(
        session("9:00-11:00", chain=["tracker"], uses=["vise"]),
        checks=checks,
        breaks=[Break("knock", "Heron", at("11:30"))],
        later=later,
    )
    assert [str(each.name) for each in found.findings] == [
        "suspect",
        "calibration not current",
        "unchecked",
        "unclosed",
        "conditions",
        "frame",
        "fixture",
        "authorisation",
    ]
    assert found.word == "suspect"


def test_wait_that_a_break_ended_does_not_lapse_as_well():
    """But what had lapsed before the break came stays lapsed."""
    soon = Procedure("bar", valid_for=24 * HOUR, closing_within=4 * HOUR)

    def with_break(clock):
        return told(
            session("9:00-11:00"),
            procedures=[soon],
            checks=[check("am", "8:00")],
            breaks=[Break("knock", "Heron", at(clock))],
        )

    assert causes(with_break("11:30")) == {("unclosed", "break", "knock")}
    assert causes(with_break("18:00")) == {
        ("unclosed", "break", "knock"),
        ("lapsed", "check", "am"),
    }


def test_system_that_was_never_checked():
    found = told(session("9:00-11:00"), now=at("12:00"))
    assert causes(found) == {("unchecked", "procedure", "bar")}
    assert found.state is State.OPEN
    found = told(session("9:00-11:00"), now=at("12:00", day=3))
    assert causes(found) == {
        ("unchecked", "procedure", "bar"),
        ("lapsed", "procedure", "bar"),
    }
    none_needed = told(session("9:00-11:00"), procedures=[])
    assert causes(none_needed) == {("unchecked", "system", "Heron")}
