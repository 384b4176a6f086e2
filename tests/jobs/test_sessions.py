"""Items and sessions: received, measured, paused, corrected, returned, held."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.test import Client
from django.urls import reverse

from lab.common import clock
from lab.common.errors import NotAcceptable, NotAllowed, WrongState
from lab.common.models import AuditEntry, WorkItem
from lab.jobs.models import Hold, HoldClearance, Job, MeasuringSession, SessionEvent
from lab.jobs.selectors import events_in_force, open_holds, segments
from lab.jobs.services import (
    clear_hold,
    clear_holds,
    correct_event,
    end_session,
    move_job,
    pause_session,
    raise_hold,
    receive_item,
    record_part_temperature,
    resume_session,
    return_item,
)
from lab.metrology.units import Quantity
from tests.chain import book, receive, start
from tests.jobs.conftest import MORNING, NOON

pytestmark = pytest.mark.django_db
MINUTE = timedelta(minutes=1)


@pytest.fixture(autouse=True)
def _noon():
    with clock.set_to(NOON):
        yield


def test_the_first_item_received_moves_the_job(lab, people) -> None:
    job = book(lab)
    receive(lab, job)
    job.refresh_from_db()
    assert job.state == "received"
    with pytest.raises(WrongState, match="received already"):
        receive(lab, job)


def test_a_damaged_item_holds_the_job(lab, people) -> None:
    job = book(lab)
    receive_item(
        item=job.items.first(),
        at=MORNING,
        condition="Bore scored.",
        damaged=True,
        place="Bench",
        acting_user=people.coordinator,
    )
    assert "came in damaged" in open_holds(job).get().title


def test_a_session_runs_pauses_resumes_and_ends(lab, people, ready_job) -> None:
    session = start(lab, ready_job)
    ready_job.refresh_from_db()
    assert ready_job.state == "measuring"
    with clock.set_to(NOON + 60 * MINUTE):
        pause_session(
            session=session,
            at=NOON + 20 * MINUTE,
            reason="Too few targets in view.",
            acting_user=people.technician,
        )
        resume_session(
            session=session, at=NOON + 30 * MINUTE, acting_user=people.technician
        )
        end_session(
            session=session, at=NOON + 50 * MINUTE, acting_user=people.technician
        )
    first, second = segments(session)
    assert (first.start, first.end) == (NOON, NOON + 20 * MINUTE)
    assert (second.start, second.end) == (NOON + 30 * MINUTE, NOON + 50 * MINUTE)
    session.refresh_from_db()
    assert session.state == "ended"
    assert session.last_at == NOON + 50 * MINUTE
    wanted = WorkItem.objects.get(kind="lapses.judge_session")
    assert wanted.object_id == session.pk


def test_what_runs_is_neither_resumed_nor_started_again(lab, people, ready_job) -> None:
    session = start(lab, ready_job)
    with pytest.raises(WrongState):
        resume_session(session=session, at=NOON, acting_user=people.technician)
    with pytest.raises(WrongState):
        start(lab, ready_job)


def test_an_unauthorised_person_can_not_measure(lab, people, ready_job) -> None:
    with pytest.raises(NotAllowed, match="not authorised to measure by MP-01"):
        start(lab, ready_job, acting_user=people.signatory)
    session = start(lab, ready_job)
    pause_session(
        session=session, at=NOON, reason="Break.", acting_user=people.technician
    )
    with pytest.raises(NotAllowed):
        resume_session(session=session, at=NOON, acting_user=people.technician3)


def test_a_job_without_agreement_items_or_on_hold_does_not_start(
    lab, people, ready_job
) -> None:
    bare = book(lab)
    with pytest.raises(WrongState, match="Receive its items"):
        start(lab, bare)
    receive(lab, bare)
    with pytest.raises(WrongState, match="Nothing is agreed"):
        start(lab, Job.objects.get(pk=bare.pk))
    with pytest.raises(NotAcceptable, match="which items"):
        start(lab, ready_job, items=[])
    with pytest.raises(NotAcceptable, match="another job"):
        start(lab, ready_job, items=list(bare.items.all()))
    raise_hold(
        job=ready_job,
        cause_key="by hand;1",
        title="Ask the customer",
        reason="The drawing is unclear.",
        acting_user=people.coordinator,
    )
    with pytest.raises(WrongState, match="on hold: Ask the customer"):
        start(lab, ready_job)


def test_a_system_measures_one_thing_at_a_time(lab, people, ready_job) -> None:
    start(lab, ready_job)
    with pytest.raises(WrongState, match="measures J2026-0001 already"):
        start(lab, ready_job)
    start(lab, ready_job, system=lab.other_system)


def test_events_come_in_order_and_not_in_the_future(lab, people, ready_job) -> None:
    session = start(lab, ready_job)
    with pytest.raises(NotAcceptable, match="can't lie before it"):
        end_session(session=session, at=NOON - MINUTE, acting_user=people.technician)
    with pytest.raises(NotAcceptable, match="in the future"):
        end_session(
            session=session, at=NOON + 6 * MINUTE, acting_user=people.technician
        )


def test_a_corrected_time_keeps_the_old_one(lab, people, ready_job) -> None:
    session = start(lab, ready_job)
    with clock.set_to(NOON + 90 * MINUTE):
        ended = end_session(
            session=session, at=NOON + 80 * MINUTE, acting_user=people.technician
        )
        made = correct_event(
            event=ended,
            at=NOON + 40 * MINUTE,
            reason="Forgotten over lunch.",
            acting_user=people.technician,
        )
        assert [e.at for e in events_in_force(session)] == [NOON, made.at]
        session.refresh_from_db()
        assert session.last_at == NOON + 40 * MINUTE
        assert SessionEvent.objects.filter(pk=ended.pk).exists()
        with pytest.raises(WrongState, match="corrected already"):
            correct_event(
                event=ended, at=NOON, reason="Twice.", acting_user=people.technician
            )
        with pytest.raises(NotAcceptable, match="can't lie before the start"):
            correct_event(
                event=made,
                at=NOON - MINUTE,
                reason="Too early.",
                acting_user=people.technician,
            )


def test_holds_are_one_a_cause_and_cleared_one_by_one(lab, people, ready_job) -> None:
    def hold(number: int) -> Hold:
        return raise_hold(
            job=ready_job,
            cause_key=f"cause;{number}",
            title="Something",
            reason="It is so.",
            acting_user=people.coordinator,
        )

    first, again, second = hold(1), hold(1), hold(2)
    assert first == again
    assert open_holds(ready_job).count() == 2
    with pytest.raises(NotAllowed):
        clear_hold(hold=first, reason="Fine.", acting_user=people.technician)
    clear_hold(hold=first, reason="Asked; fine.", acting_user=people.quality)
    assert list(open_holds(ready_job)) == [second]
    with pytest.raises(WrongState, match="cleared already"):
        clear_holds(holds=[second, first], reason="Both.", acting_user=people.quality)
    assert HoldClearance.objects.count() == 1
    assert hold(1) == first
    assert list(open_holds(ready_job)) == [second]


def test_part_temperatures_come_from_a_contact_thermometer(
    lab, people, ready_job
) -> None:
    item = ready_job.items.first()
    warmth = Quantity("20.3", "°C")
    with pytest.raises(NotAcceptable, match="no contact thermometer"):
        record_part_temperature(
            item=item,
            at=NOON,
            temperature=warmth,
            thermometer=lab.system.tracker,
            acting_user=people.technician,
        )
    made = record_part_temperature(
        item=item,
        at=NOON,
        temperature=warmth,
        thermometer=lab.thermometer,
        acting_user=people.technician,
    )
    assert str(made.temperature) == "20.3 °C"


def give_back(people, item, **changes) -> None:
    return_item(
        **{
            "item": item,
            "at": NOON,
            "condition": "Clean.",
            "handed_to": "Carrier",
            "acting_user": people.coordinator,
        }
        | changes
    )


def test_the_last_item_returned_ends_the_job(lab, people, ready_job) -> None:
    first, second = ready_job.items.all()
    give_back(people, first)
    ready_job.refresh_from_db()
    assert ready_job.state == "received"
    with pytest.raises(WrongState, match="returned already"):
        give_back(people, first)
    give_back(people, second)
    ready_job.refresh_from_db()
    assert ready_job.state == "returned"
    with pytest.raises(WrongState):
        start(lab, ready_job)


def test_nothing_leaves_on_hold_without_a_reason_or_while_measured(
    lab, people, ready_job
) -> None:
    item = ready_job.items.first()
    raise_hold(
        job=ready_job,
        cause_key="by hand;1",
        title="Wait",
        reason="Wait.",
        acting_user=people.coordinator,
    )
    with pytest.raises(NotAcceptable) as refusal:
        give_back(people, item)
    assert refusal.value.field == "reason"
    clear_hold(
        hold=open_holds(ready_job).get(), reason="Done.", acting_user=people.quality
    )
    start(lab, ready_job)
    with pytest.raises(WrongState, match="has not ended"):
        give_back(people, item)


def test_a_job_moves_only_where_the_table_says(lab, people, ready_job) -> None:
    with pytest.raises(WrongState, match="can't become in review"):
        move_job(job=ready_job, to="in review", acting_user=people.technician)
    session = start(lab, ready_job)
    with pytest.raises(WrongState, match="has not ended"):
        move_job(job=ready_job, to="evaluated", acting_user=people.technician)
    end_session(session=session, at=NOON, acting_user=people.technician)
    move_job(job=ready_job, to="evaluated", acting_user=people.technician)
    assert AuditEntry.objects.filter(verb="job.moved").count() == 3


@pytest.mark.django_db(transaction=True)
@pytest.mark.postgres
def test_of_two_who_move_a_job_one_wins(
    on_postgres, in_threads, lab, people, ready_job
) -> None:
    def move() -> None:
        move_job(job=ready_job, to="measuring", acting_user=people.technician)

    raised = in_threads([move, move])
    assert [type(error) for error in raised] == [WrongState]
    assert Job.objects.get(pk=ready_job.pk).state == "measuring"


def test_a_session_through_the_pages(lab, people, sign_in, ready_job) -> None:
    client = sign_in(Client(), people.technician)
    typed = {
        "system": lab.system.pk,
        "items": [item.pk for item in ready_job.items.all()],
        "at": "2026-03-17T12:00",
    }
    page = reverse("jobs:start", args=[ready_job.number])
    assert client.get(page).status_code == 200
    assert client.post(page, typed).status_code == 302
    assert client.post(page, typed).status_code == 400  # it measures already
    session = MeasuringSession.objects.get()
    no_reason = client.post(
        reverse("jobs:pause", args=[session.pk]),
        {"at": "2026-03-17T12:00", "reason": ""},
    )
    assert no_reason.status_code == 400
    ended = client.post(
        reverse("jobs:end", args=[session.pk]), {"at": "2026-03-17T12:00"}
    )
    assert ended.status_code == 302
    again = client.post(
        reverse("jobs:end", args=[session.pk]), {"at": "2026-03-17T12:00"}
    )
    assert again.status_code == 400
    nonsense = client.post(
        reverse("jobs:correct", args=[session.events.first().pk]),
        {"at": "yesterday", "reason": "x y"},
    )
    assert nonsense.status_code == 400
    reader = sign_in(Client(), people.coordinator)
    assert reader.get(page).status_code == 403
