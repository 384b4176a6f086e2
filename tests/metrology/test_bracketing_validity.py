"""The gate before a session begins, and what the facts refuse."""

from datetime import timedelta

import pytest
from hypothesis import given, settings

from lab.metrology.bracketing import (
    Break,
    Calibration,
    Cause,
    CauseKind,
    FindingName,
    LaterFinding,
    NaiveTime,
    Procedure,
    Reach,
    Segment,
    Session,
    judge,
    validity_at,
)
from lab.metrology.errors import OutOfDomain, TooFew
from tests.metrology.bracketing_strategies import PROCEDURES, breaks, checks, unique
from tests.metrology.bracketing_strategies import at as step_at
from tests.metrology.bracketing_strategies import steps as any_step
from tests.metrology.timelines import BAR, HOUR, SPHERE, TICK, at, check


def gate(instant, *made, breaks=(), procedure=BAR):
    return validity_at(instant, "Heron", procedure, made, breaks)


def test_pass_is_valid_until_its_time_is_over():
    made = check("am", "8:00", procedure="sphere")
    before = gate(at("12:10") - TICK, made, procedure=SPHERE)
    assert before.valid
    assert (before.check, before.valid_until) == ("am", at("12:10"))
    assert before.unchecked_by is None
    after = gate(at("12:10"), made, procedure=SPHERE)
    assert not after.valid
    assert after.unchecked_by == Cause(CauseKind.CHECK, "am")


def test_what_took_the_validity_away():
    morning = check("am", "8:00")
    assert gate(at("9:00")).unchecked_by == Cause(CauseKind.PROCEDURE, "bar")
    failed = gate(at("13:00"), morning, check("noon", "12:00", "fail"))
    assert failed.unchecked_by == Cause(CauseKind.CHECK, "noon")
    knock = Break("knock", "Heron", at("12:00"))
    assert gate(at("13:00"), morning, breaks=[knock]).unchecked_by == Cause(
        CauseKind.BREAK, "knock"
    )
    other = Break("knock", "Petrel", at("12:00"))
    assert gate(at("13:00"), morning, breaks=[other]).valid


@settings(max_examples=100)
@given(unique(checks(), 8), unique(breaks, 3), any_step)
def test_gate_and_judgement_agree(made, happened, step):
    """A session that starts now is unchecked just where the gate is shut."""
    session = Session("s", "Heron", (Segment(step_at(step), step_at(step)),))
    for procedure in PROCEDURES["Heron"]:
        facts = ([procedure], made, happened, [], [], step_at(step))
        judged = judge(session, *facts)
        shut = validity_at(step_at(step), "Heron", procedure, made, happened)
        assert shut.valid == (FindingName.UNCHECKED not in judged.names)


def test_facts_that_end_before_they_start_are_refused():
    backwards = (at("9:00"), at("8:00"))
    with pytest.raises(OutOfDomain, match="A segment ends at"):
        Segment(*backwards)
    with pytest.raises(OutOfDomain, match="Check am ends at"):
        check("am", "8:00", minutes=-1)
    with pytest.raises(OutOfDomain, match="Calibration K1 ends at"):
        Calibration("K1", "bar", *backwards)
    with pytest.raises(OutOfDomain, match="Finding F1 ends at"):
        LaterFinding("F1", "bar", *backwards)


def test_times_without_a_zone_are_refused():
    naive = at("9:00").replace(tzinfo=None)
    with pytest.raises(NaiveTime, match="has no zone"):
        Segment(naive)
    with pytest.raises(NaiveTime, match="has no zone"):
        Break("knock", "Heron", naive)


def test_session_without_measuring_is_refused():
    with pytest.raises(TooFew, match="Session S1 has no segment"):
        Session("S1", "Heron", ())


@pytest.mark.parametrize(
    ("valid_for", "closing_within", "message"),
    [
        (timedelta(0), HOUR, "valid_for must be positive"),
        (HOUR, -HOUR, "closing_within must not be negative"),
    ],
)
def test_procedure_out_of_its_domain_is_refused(valid_for, closing_within, message):
    with pytest.raises(OutOfDomain, match=message):
        Procedure("bar", valid_for, closing_within)


def test_reach_touches_its_own_system_only():
    reach = Reach("Heron", at("9:00"), at("11:00"))

    def session(system, start, end):
        return Session("s", system, (Segment(at(start), at(end)),))

    assert reach.touches(session("Heron", "10:00", "10:30"))
    assert reach.touches(session("Heron", "11:00", "12:00"))
    assert not reach.touches(session("Heron", "11:01", "12:00"))
    assert not reach.touches(session("Heron", "8:00", "8:59"))
    assert not reach.touches(session("Petrel", "10:00", "10:30"))
    assert Reach("Heron", None, None).touches(session("Heron", "1:00", "2:00"))
