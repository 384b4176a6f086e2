"""Timelines with the findings that the lapse rules demand, written out by hand.

Each test is one story of a laboratory. The expected findings come from the words of
the rules, which stand quoted or summed up above each story, not from the code. These
are about checks and breaks.
"""

from lab.metrology.bracketing import (
    Break,
    Cause,
    CauseKind,
    Check,
    FindingName,
    State,
)
from tests.metrology.timelines import (
    BAR,
    SPHERE,
    TICK,
    at,
    causes,
    check,
    session,
    told,
)


def test_pass_before_and_pass_after_bracket():
    found = told(
        session("9:00-11:00"), checks=[check("am", "8:00"), check("pm", "12:00")]
    )
    assert found.findings == ()
    assert found.state is State.BRACKETED
    assert found.word == "bracketed"
    assert found.judge_again_at is None
    assert not found.blocks_issue


def test_pass_valid_for_a_day_then_a_fail_then_a_session():
    """A failed check ends the validity of every earlier pass, whatever it was."""
    checks = [
        check("am", "8:00"),
        check("noon", "12:00", "fail"),
        check("next", "9:00", day=2),
    ]
    before = told(session("9:00-11:00"), checks=checks)
    after = told(session("13:00-15:00"), checks=checks)
    assert causes(before) == {("suspect", "check", "noon")}
    assert causes(after) == {("unchecked", "check", "noon")}
    assert after.state is State.NOT_BRACKETED


def test_break_between_two_checks_leaves_the_session_unclosed():
    """No check bridges a break: a pass on each side of it does not bracket."""
    knock = Break("knock", "Heron", at("11:30"))
    found = told(
        session("9:00-11:00"),
        checks=[check("am", "8:00"), check("pm", "12:00")],
        breaks=[knock],
    )
    assert causes(found) == {("unclosed", "break", "knock")}
    assert found.state is State.NOT_BRACKETED
    (unclosed,) = found.findings
    assert (unclosed.next_check, unclosed.next_passed) == ("pm", True)


def test_as_found_check_before_the_break_closes_the_session():
    adjustment = Break("adjustment", "Heron", at("11:30"))
    checks = [check("am", "8:00"), check("as found", "11:15"), check("pm", "12:00")]
    morning = told(session("9:00-11:00"), checks=checks, breaks=[adjustment])
    assert morning.state is State.BRACKETED
    assert morning.findings == ()


def test_break_before_the_session_ends_what_the_opening_check_said():
    transport = Break("transport", "Heron", at("8:30"))
    found = told(
        session("9:00-11:00"),
        checks=[check("am", "8:00"), check("pm", "12:00")],
        breaks=[transport],
    )
    assert causes(found) == {("unchecked", "break", "transport")}


def test_break_in_the_midst_of_a_segment_spoils_both_of_its_parts():
    """The part before has no as-found check, the part after no opening one."""
    knock = Break("knock", "Heron", at("10:00"))
    found = told(
        session("9:00-11:00"),
        checks=[check("am", "8:00"), check("pm", "12:00")],
        breaks=[knock],
    )
    assert causes(found) == {
        ("unclosed", "break", "knock"),
        ("unchecked", "break", "knock"),
    }


def test_two_procedures_of_unequal_validity_are_judged_each_by_itself():
    checks = [
        check("bar am", "8:00"),
        check("sphere am", "8:30", procedure="sphere"),
        check("bar pm", "16:00"),
        check("sphere pm", "16:30", procedure="sphere"),
    ]
    found = told(session("13:00-14:00"), procedures=(BAR, SPHERE), checks=checks)
    assert causes(found) == {("unchecked", "check", "sphere am")}
    assert {each.procedure: each.state for each in found.procedures} == {
        "bar": State.BRACKETED,
        "sphere": State.NOT_BRACKETED,
    }
    assert found.state is State.NOT_BRACKETED


def test_check_strictly_inside_a_segment_splits_it():
    """The part before is closed and the part after opened by it."""
    checks = [
        check("am", "8:30", procedure="sphere"),
        check("noon", "12:00", procedure="sphere"),
        check("pm", "15:30", procedure="sphere"),
    ]
    # 6 h of measuring with a validity of 4 h: only the check inside carries it.
    split = told(session("9:00-15:00"), procedures=(SPHERE,), checks=checks)
    whole = told(session("9:00-15:00"), procedures=(SPHERE,), checks=checks[::2])
    assert split.state is State.BRACKETED
    assert split.findings == ()
    assert causes(whole) == {("lapsed", "check", "am")}


def test_fail_inside_a_segment():
    """Before it suspect; after it, and before a new pass, unchecked."""
    checks = [
        check("am", "8:00"),
        check("noon", "12:00", "fail"),
        check("pm", "16:00"),
    ]
    found = told(session("9:00-15:00"), checks=checks)
    assert causes(found) == {
        ("suspect", "check", "noon"),
        ("unchecked", "check", "noon"),
    }
    suspect, unchecked = found.findings
    assert (suspect.start, suspect.end) == (at("9:00"), at("12:00"))
    assert (unchecked.start, unchecked.end) == (at("12:10"), at("15:00"))


def test_equal_instants():
    """A check that ends as the segment starts opens it; one that starts as it ends
    closes it; a microsecond on the wrong side, and neither does.
    """
    opening, closing = check("am", "8:50"), check("pm", "11:00")
    bracketed = told(session("9:00-11:00"), checks=[opening, closing])
    assert bracketed.state is State.BRACKETED

    too_late = Check("am", "Heron", "bar", at("8:50"), at("9:00") + TICK, True)
    unopened = told(session("9:00-11:00"), checks=[too_late, closing])
    assert ("unchecked", "procedure", "bar") in causes(unopened)

    too_early = Check("pm", "Heron", "bar", at("11:00") - TICK, at("11:10"), True)
    still_open = told(
        session("9:00-11:00"), checks=[opening, too_early], now=at("12:00")
    )
    assert still_open.state is State.OPEN

    # Validity is half-open too: gone at the instant at which it ends.
    in_time = session("9:00-10:00", day=2)
    assert told(in_time, checks=[opening]).names == {
        FindingName.UNCHECKED,
        FindingName.LAPSED,
    }
    assert (
        FindingName.UNCHECKED not in told(in_time, checks=[check("am", "8:51")]).names
    )


def test_break_at_the_instant_of_a_check():
    """A check that ended as the break came was as found; one that starts with it,
    as left."""
    adjustment = Break("adjustment", "Heron", at("12:00"))
    measured, opening = session("9:00-11:00"), check("am", "8:00")
    as_found = told(
        measured, checks=[opening, check("noon", "11:50")], breaks=[adjustment]
    )
    as_left = told(
        measured, checks=[opening, check("noon", "12:00")], breaks=[adjustment]
    )
    astride = told(
        measured, checks=[opening, check("noon", "11:55")], breaks=[adjustment]
    )
    assert as_found.state is State.BRACKETED
    assert causes(as_left) == {("unclosed", "break", "adjustment")}
    assert causes(astride) == {("unclosed", "break", "adjustment")}


def test_late_recording_meets_no_gate_without_a_second_person():
    measured = session("9:00-11:00")
    closing = check("pm", "12:00")
    cases = {
        "in time": (at("8:40"), False, State.BRACKETED),
        "late": (at("8:40") + TICK, False, State.NOT_BRACKETED),
        "late and confirmed": (at("15:00"), True, State.BRACKETED),
    }
    for recorded_at, confirmed, state in cases.values():
        opening = check("am", "8:00", recorded_at=recorded_at, confirmed=confirmed)
        found = told(measured, checks=[opening, closing])
        assert found.state is state
        unchecked = {("unchecked", "procedure", "bar")}
        assert causes(found) == (set() if state is State.BRACKETED else unchecked)


def test_late_fail_is_a_fail_all_the_same():
    checks = [
        check("am", "8:00"),
        check("noon", "12:00", "fail", recorded_at=at("18:00")),
    ]
    assert causes(told(session("9:00-11:00"), checks=checks)) == {
        ("suspect", "check", "noon")
    }


def test_voided_pass_rejudges_what_leant_on_it():
    measured = session("9:00-11:00", day=2)
    yesterday, closing = check("yesterday", "8:30"), check("pm", "12:00", day=2)
    good = told(measured, checks=[yesterday, check("am", "8:00", day=2), closing])
    voided = told(
        measured,
        checks=[yesterday, check("am", "8:00", day=2, voided=True), closing],
    )
    assert good.state is State.BRACKETED
    # Yesterday's pass, until 8:40, is all that is left.
    assert causes(voided) == {("unchecked", "check", "yesterday")}


def test_voided_pass_widens_the_window_of_a_later_fail():
    checks = [check("am", "8:00"), check("noon", "12:00"), check("pm", "16:00", "fail")]
    morning = session("9:00-11:00")
    assert told(morning, checks=checks).findings == ()
    checks[1] = check("noon", "12:00", voided=True)
    assert causes(told(morning, checks=checks)) == {("suspect", "check", "pm")}


def test_voided_fail_is_no_fail():
    """The finding is gone; the hold that it raised stays until a person clears it."""
    checks = [
        check("am", "8:00"),
        check("noon", "12:00", "fail", voided=True),
        check("pm", "16:00"),
    ]
    for measured in (session("9:00-11:00"), session("13:00-15:00")):
        assert told(measured, checks=checks).state is State.BRACKETED


def test_later_pass_never_lifts_a_suspicion():
    checks = [
        check("am", "8:00"),
        check("noon", "12:00", "fail"),
        check("repeated", "12:20"),
        check("pm", "17:00"),
    ]
    assert causes(told(session("9:00-11:00"), checks=checks)) == {
        ("suspect", "check", "noon")
    }
    assert told(session("13:00-16:00"), checks=checks).state is State.BRACKETED


def test_failing_check_makes_suspect_everything_since_the_last_pass():
    """A break between does not shorten its reach; the pass before it does."""
    checks = [
        check("monday", "8:00"),
        check("tuesday", "8:00", day=2),
        check("thursday", "8:00", "fail", day=4),
        check("thursday again", "9:00", "fail", day=4),
    ]
    knock = Break("knock", "Heron", at("12:00", day=3))
    both = {("suspect", "check", "thursday"), ("suspect", "check", "thursday again")}

    def on(day):
        found = told(session("9:00-11:00", day=day), checks=checks, breaks=[knock])
        return {each for each in causes(found) if each[0] == "suspect"}

    assert on(1) == set()
    assert on(2) == both
    assert on(3) == both


def test_check_repeated_during_a_pause_counts_for_the_segments_after_it():
    """First checked when the morning was over: half of the session has an opening."""
    checks = [check("noon", "12:00"), check("pm", "16:00")]
    found = told(session("9:00-11:00", "13:00-15:00"), checks=checks)
    (unchecked,) = found.findings
    assert unchecked.name is FindingName.UNCHECKED
    assert unchecked.cause == Cause(CauseKind.PROCEDURE, "bar")
    assert (unchecked.start, unchecked.end) == (at("9:00"), at("11:00"))
    assert (unchecked.next_check, unchecked.next_passed) == ("noon", True)


def test_adjustment_in_a_pause_with_checks_on_both_sides_of_it():
    checks = [
        check("am", "8:00"),
        check("as found", "11:10"),
        check("as left", "12:10"),
        check("pm", "16:00"),
    ]
    adjustment = Break("adjustment", "Heron", at("12:00"))
    found = told(
        session("9:00-11:00", "13:00-15:00"), checks=checks, breaks=[adjustment]
    )
    assert found.state is State.BRACKETED
    assert found.findings == ()


def test_records_of_another_system_change_nothing():
    checks = [
        check("am", "8:00"),
        check("other", "11:30", "fail", system="Petrel"),
        check("pm", "12:00"),
    ]
    found = told(
        session("9:00-11:00"),
        checks=checks,
        breaks=[Break("knock", "Petrel", at("10:00"))],
    )
    assert found.state is State.BRACKETED


def test_fail_by_a_procedure_that_is_not_needed_is_a_fail_of_the_system():
    checks = [
        check("am", "8:00"),
        check("extra", "11:30", "fail", procedure="sphere"),
        check("pm", "12:00"),
    ]
    assert causes(told(session("9:00-11:00"), checks=checks)) == {
        ("suspect", "check", "extra")
    }
