"""A case from its opening to its closing, through the services."""

from __future__ import annotations

import json
from datetime import timedelta

import pytest

from lab.accounts.identity import ConfirmedIdentity
from lab.common import clock
from lab.common.actors import PROGRAM
from lab.common.errors import NotAcceptable, NotAllowed, WrongState
from lab.common.frozen import FrozenRecordChange
from lab.common.models import AuditEntry
from lab.evidence import services
from lab.evidence.guards import CaseClosed, NotClosable
from lab.evidence.models import Case, CaseDecision, Closure
from lab.evidence.outstanding import dossier_of
from lab.evidence.reach import cases_of, touched_by
from lab.jobs.selectors import open_holds
from lab.jobs.services import raise_hold
from lab.laboratory.services import name_deputy
from lab.lapses.models import Finding, LaterFinding
from tests import chain

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("_evening")]


def just_confirmed(person) -> ConfirmedIdentity:
    return ConfirmedIdentity(person_id=person.pk, at=clock.now())


def undone(broken) -> list[str]:
    return dossier_of(Case.objects.get(pk=broken.case.pk)).outstanding()


def close(broken, person, **changes):
    return services.close_case(
        **{
            "case": broken.case,
            "words": "The bars are marked by colour now.",
            "identity": just_confirmed(person),
            "acting_user": person,
        }
        | changes
    )


def test_a_failed_check_opens_one_case_with_the_window_of_the_lapse_rules(
    lab, broken
) -> None:
    case = broken.case
    (window,) = case.windows.all()
    assert (case.cause, case.artefact_check) == ("check", broken.check)
    assert (window.since, window.until) == (chain.at(8, 20), chain.at(15))
    assert window.set_by is None
    touched = touched_by(case)
    assert [one.job for one in touched.sessions] == [broken.certificate.job]
    assert touched.certificates == [broken.certificate]
    assert touched.customers == [lab.customer]
    assert open_holds(broken.certificate.job).exists()
    assert AuditEntry.objects.filter(verb="case.opened").count() == 1
    finding = Finding.objects.get(cause=f"check:{broken.check.pk}")
    again = services.open_for_finding(finding_id=finding.pk, acting_user=PROGRAM)
    assert again == case
    assert Case.objects.count() == 1
    assert list(cases_of(broken.certificate.job)) == [case]


def test_findings_that_are_no_suspicion_open_no_case(broken) -> None:
    others = Finding.objects.exclude(name="suspect")
    for finding in others:
        assert not services.open_for_finding(finding_id=finding.pk, acting_user=PROGRAM)
    assert Case.objects.count() == 1


def test_all_that_is_undone_is_listed_in_words(lab, broken, settle) -> None:
    assert undone(broken) == [
        "Nobody has said how significant it is.",
        f"Decide what becomes of certificate {broken.certificate.number}.",
        "Ravelin Ropeways is not told, nor is it said why there is no need.",
        "Nobody has let the work go on.",
    ]
    with pytest.raises(NotClosable, match=r"significant it is\. And 3 more"):
        close(broken, lab.people.quality)
    settle(lab, broken)
    assert undone(broken) == []


@pytest.mark.parametrize(
    ("outcome", "sentence"),
    [
        ("amended", "no amendment is issued yet"),
        ("withdrawn", "it is not yet"),
        ("measured again", "Amend, replace or withdraw it after that"),
    ],
)
def test_a_decision_must_be_carried_out(lab, broken, outcome, sentence) -> None:
    services.decide_certificate(
        case=broken.case,
        certificate=broken.certificate,
        outcome=outcome,
        justification="The values may be off by 90 µm.",
        acting_user=lab.people.quality,
    )
    assert any(sentence in one for one in undone(broken))


def test_an_action_that_did_not_help_wants_another(lab, broken) -> None:
    quality = lab.people.quality
    services.assess(
        case=broken.case,
        significance="serious",
        reason="Off by 90 µm.",
        may_recur=True,
        acting_user=quality,
    )
    assert any("no corrective action" in one for one in undone(broken))
    action = services.add_action(
        case=broken.case,
        what="Ask people to take care.",
        responsible=quality,
        due_on=chain.at(16).date(),
        effect_due_on=chain.at(16).date(),
        acting_user=quality,
    )
    with pytest.raises(WrongState, match="not done yet"):
        services.check_effect(
            action=action, helped=True, note="Fine.", acting_user=quality
        )
    assert any("Action 1 is not done; due 2026-03-17" in one for one in undone(broken))
    services.record_done(action=action, note="Said so.", acting_user=quality)
    with pytest.raises(WrongState, match="done already"):
        services.record_done(action=action, note="Said so.", acting_user=quality)
    assert any("looked whether action 1 helped" in one for one in undone(broken))
    services.check_effect(
        action=action, helped=False, note="Mixed up again.", acting_user=quality
    )
    assert any("Action 1 did not help. Set down" in one for one in undone(broken))


def test_a_closed_case_keeps_what_it_touched_and_takes_nothing_more(
    lab, broken, settle
) -> None:
    settle(lab, broken)
    closure = close(broken, lab.people.quality)
    kept = json.loads(closure.snapshot_text)
    assert kept["certificates"][broken.certificate.number]["outcome"] == "stands"
    assert kept["sessions"] == [broken.certificate.job.sessions.get().pk]
    assert Case.objects.get().state == Case.State.CLOSED
    entry = AuditEntry.objects.get(verb="case.closed")
    assert entry.actor == lab.people.quality
    for act in (
        lambda: close(broken, lab.people.quality),
        lambda: services.let_resume(
            case=broken.case, reason="Again.", acting_user=lab.people.quality
        ),
        lambda: services.name_job(
            case=broken.case,
            job=broken.certificate.job,
            acting_user=lab.people.technician,
        ),
    ):
        with pytest.raises(CaseClosed):
            act()
    with pytest.raises(FrozenRecordChange):
        CaseDecision.objects.update(outcome="withdrawn")
    assert Closure.objects.count() == 1


def test_closing_asks_who_acts_and_refuses_others(lab, broken, settle) -> None:
    settle(lab, broken)
    people = lab.people
    with pytest.raises(NotAllowed, match="password"):
        close(broken, people.quality, identity=None)
    with pytest.raises(NotAllowed, match="password"):
        close(broken, people.quality, identity=just_confirmed(people.signatory))
    late = just_confirmed(people.quality)
    with (
        clock.set_to(clock.now() + timedelta(minutes=5)),
        pytest.raises(NotAllowed, match="password"),
    ):
        close(broken, people.quality, identity=late)
    with pytest.raises(NotAllowed, match="quality manager decides"):
        close(broken, people.signatory)
    assert Case.objects.get().is_open


def test_a_deputy_closes_and_a_party_does_not(lab, broken, settle) -> None:
    settle(lab, broken)
    people = lab.people
    for deputy in (people.technician, people.technician3):
        name_deputy(
            person=people.quality,
            deputy=deputy,
            valid_from=chain.at(8).date(),
            valid_until=chain.at(8, days=9).date(),
            reason="On leave.",
            acting_user=people.quality,
        )
    with pytest.raises(NotAllowed, match="You measured, evaluated or issued"):
        close(broken, people.technician)
    with pytest.raises(NotAllowed, match="quality manager decides"):
        close(broken, people.technician2)
    assert close(broken, people.technician3).closed_by == people.technician3


def test_a_quality_manager_who_did_the_check_does_not_close(lab, people) -> None:
    case = services.open_case(
        cause="check",
        title="A check failed",
        account="By 90 µm.",
        system=lab.system,
        until=chain.at(9),
        acting_user=people.quality,
    )
    failed = chain.check(lab, chain.at(15, 50), off_um=90, acting_user=people.quality)
    Case.objects.filter(pk=case.pk).update(artefact_check=failed)
    with pytest.raises(NotAllowed, match="Somebody else closes it"):
        services.close_case(
            case=case,
            words="Done.",
            identity=just_confirmed(people.quality),
            acting_user=people.quality,
        )


def test_the_window_moved_back_makes_more_suspect(lab, broken) -> None:
    since = chain.at(7)
    services.move_window(
        case=broken.case,
        since=since,
        reason="The passes before were at 80 % of the limit.",
        acting_user=lab.people.quality,
    )
    found = LaterFinding.objects.get()
    assert (found.kind, found.since, found.until) == (
        "widened",
        since,
        chain.at(8, 20),
    )
    newest = touched_by(broken.case).window
    assert (newest.since, newest.set_by) == (since, lab.people.quality)
    assert AuditEntry.objects.filter(verb="case.window_moved").exists()


def test_the_window_moves_only_with_a_reason_and_by_who_decides(lab, broken) -> None:
    def move(**changes):
        return services.move_window(
            **{
                "case": broken.case,
                "since": chain.at(10),
                "reason": "A pass of another procedure lies there.",
                "acting_user": lab.people.quality,
            }
            | changes
        )

    for wrong in ("", "tbd"):
        with pytest.raises(NotAcceptable):
            move(reason=wrong)
    with pytest.raises(NotAcceptable, match="end before it begins"):
        move(since=chain.at(15))
    with pytest.raises(NotAcceptable, match="there already"):
        move(since=chain.at(8, 20))
    with pytest.raises(NotAllowed):
        move(acting_user=lab.people.technician)
    move()
    assert not LaterFinding.objects.exists()
    # What a finding made suspect stays in the case: a person clears it.
    assert len(touched_by(broken.case).sessions) == 1


def test_a_changed_mind_supersedes_and_is_made_once(lab, broken) -> None:
    def decide(outcome, supersedes=None, **changes):
        return services.decide_certificate(
            **{
                "case": broken.case,
                "certificate": broken.certificate,
                "outcome": outcome,
                "justification": "As the trend shows.",
                "supersedes": supersedes,
                "acting_user": lab.people.quality,
            }
            | changes
        )

    first = decide("stands")
    with pytest.raises(WrongState, match="decided meanwhile"):
        decide("withdrawn")
    second = decide("withdrawn", first)
    with pytest.raises(WrongState, match="decided meanwhile"):
        decide("amended", first)
    standing = dossier_of(broken.case).standing_decisions
    assert standing[broken.certificate.pk] == second
    with pytest.raises(NotAllowed):
        decide("stands", second, acting_user=lab.people.signatory)
    with pytest.raises(NotAcceptable):
        decide("stands", second, justification="n/a")


def test_a_complaint_is_opened_by_anybody_of_the_lab(lab, people) -> None:
    issued = chain.certificate(lab)
    case = services.open_case(
        cause="complaint",
        title="The eye is said to be too wide",
        account="Mabel Orrin rang: her own gauge says 1000.2 mm.",
        job=issued.job,
        acting_user=people.coordinator,
    )
    touched = touched_by(case)
    assert touched.window is None
    assert (touched.jobs, touched.certificates) == ([issued.job], [issued])
    with pytest.raises(NotAllowed):
        services.open_case(
            cause="complaint",
            title="T",
            account="A",
            job=issued.job,
            acting_user=people.client,
        )
    with pytest.raises(NotAcceptable, match="Say what it is about"):
        services.open_case(
            cause="other", title="T", account="A", acting_user=people.quality
        )


def test_a_case_about_a_device_touches_what_used_it_in_the_window(lab, people) -> None:
    _job, session = chain.measured_job(lab)

    def case_until(until):
        return services.open_case(
            cause="calibration",
            title="Bar found damaged",
            account="A chip at end A.",
            device=lab.bar,
            since=chain.at(8),
            until=until,
            acting_user=people.quality,
        )

    assert list(touched_by(case_until(chain.at(10))).sessions) == [session]
    assert list(touched_by(case_until(chain.at(9))).sessions) == []


def test_what_comes_to_light_after_the_closing_opens_another_case(
    lab, broken, settle
) -> None:
    settle(lab, broken)
    close(broken, lab.people.quality)
    finding = Finding.objects.get(cause=f"check:{broken.check.pk}")
    known = services.open_for_finding(finding_id=finding.pk, acting_user=PROGRAM)
    assert known == broken.case
    job = chain.ready_job(lab)
    with clock.set_to(chain.at(13, 30)):
        other = chain.start(lab, job)
    new = Finding.objects.create(
        session=other,
        name="suspect",
        cause=finding.cause,
        cause_key=f"suspect;{finding.cause};session:{other.pk}",
        reason="Its start was corrected into the time in question.",
        hold=_hold(job, other),
    )
    further = services.open_for_finding(finding_id=new.pk, acting_user=PROGRAM)
    assert further != broken.case
    assert further.cause_key == f"check:{broken.check.pk};2"
    assert other in touched_by(further).sessions


def _hold(job, session):
    return raise_hold(
        job=job,
        session=session,
        cause_key=f"x:{session.pk}",
        title="Suspect",
        reason="Its start was corrected.",
        acting_user=PROGRAM,
    )
