"""Measuring sessions: started, paused, resumed, ended; forgotten times corrected."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import Final

from django.db import IntegrityError, transaction

from lab.accounts.models import User
from lab.checks.locks import lock_systems
from lab.checks.models import MeasuringSystem
from lab.common import audit, clock
from lab.common.errors import NotAcceptable, NotAllowed, WrongState
from lab.common.services import service
from lab.common.texts import refuse_placeholder
from lab.common.work import enqueue
from lab.equipment.selectors import is_in_service
from lab.jobs.models import (
    Job,
    JobItem,
    JobState,
    MeasuringSession,
    SessionEvent,
)
from lab.jobs.selectors import agreement_in_force, events_in_force, open_holds
from lab.jobs.states import advance, lock_job, require_open
from lab.laboratory.models import Activity
from lab.laboratory.selectors import is_authorised

State = MeasuringSession.State
Kind = SessionEvent.Kind
#: What each event asks of the session's state, and what it makes of it.
EVENTS: Final = {
    Kind.PAUSE: (State.RUNNING, State.PAUSED),
    Kind.RESUME: (State.PAUSED, State.RUNNING),
    Kind.END: (State.RUNNING, State.ENDED),
}
#: States in which measuring may begin.
MEASURABLE: Final = {JobState.RECEIVED, JobState.MEASURING, JobState.EVALUATED}


@service(may="jobs.measure")
def start_session(
    *,
    job: Job,
    system: MeasuringSystem,
    items: Sequence[JobItem],
    at: datetime,
    acting_user: User,
) -> MeasuringSession:
    """Begin to measure items of a job with a system.

    Raises
    ------
    NotAllowed
        If the person is not authorised to measure by the agreed method: this can't
        be passed over.
    NotAcceptable
        If there is no item, one is not here, or the time lies in the future.
    WrongState
        If there is no contract review, the job is on hold or in no state for it, or
        the system measures elsewhere or has a device that is out of service.
    """
    clock.require_not_future(at)
    lock_systems([system])
    job = lock_job(job)
    _require_startable(job, system, acting_user, at)
    _require_present(job, items)
    session = MeasuringSession.objects.create(
        job=job,
        system=system,
        room=job.room,
        started_by=acting_user,
        first_at=at,
        last_at=at,
    )
    session.items.set(items)
    SessionEvent.objects.create(
        session=session, kind=Kind.START, at=at, said_by=acting_user
    )
    audit.record(
        "session.started",
        session,
        actor=acting_user,
        after={"at": at, "system": system.name, "items": [i.serial for i in items]},
    )
    if job.state != JobState.MEASURING:
        advance(job, JobState.MEASURING, actor=acting_user)
    enqueue("lapses.judge_session", session.pk)
    return session


@service(may="jobs.measure")
def pause_session(
    *, session: MeasuringSession, at: datetime, reason: str, acting_user: User
) -> SessionEvent:
    """Stop measuring for a while, with the reason.

    Raises
    ------
    NotAcceptable, WrongState
        If the time doesn't follow the last event's, or the session doesn't run.
    """
    text = refuse_placeholder(reason, "reason")
    return _add_event(session, Kind.PAUSE, at, text, acting_user)


@service(may="jobs.measure")
def resume_session(
    *, session: MeasuringSession, at: datetime, acting_user: User
) -> SessionEvent:
    """Go on measuring; another person may than the one who started.

    Raises
    ------
    NotAllowed
        If the person is not authorised to measure by the agreed method.
    NotAcceptable, WrongState
        If the time doesn't follow the last event's, the session is not paused, or a
        device of the system is out of service.
    """
    _require_authorised(session.job, acting_user, at)
    _require_in_service(session.system)
    return _add_event(session, Kind.RESUME, at, "", acting_user)


@service(may="jobs.measure")
def end_session(
    *, session: MeasuringSession, at: datetime, acting_user: User
) -> SessionEvent:
    """End a session, running or paused; it is not resumed again.

    Raises
    ------
    NotAcceptable, WrongState
        If the time doesn't follow the last event's, or the session has ended.
    """
    return _add_event(session, Kind.END, at, "", acting_user)


@service(may="jobs.measure")
def correct_event(
    *, event: SessionEvent, at: datetime, reason: str, acting_user: User
) -> SessionEvent:
    """Correct when something happened; the old time is kept, findings judged again.

    Raises
    ------
    NotAcceptable
        Without a reason, in the future, or out of order with the other events.
    WrongState
        If this event was corrected already.
    """
    clock.require_not_future(at)
    text = refuse_placeholder(reason, "reason")
    lock_systems([event.session.system])
    session = MeasuringSession.objects.select_for_update().get(pk=event.session_id)
    _require_order(session, event, at)
    try:
        with transaction.atomic():
            made = SessionEvent.objects.create(
                session=session,
                kind=event.kind,
                at=at,
                reason=text,
                supersedes=event,
                said_by=acting_user,
            )
    except IntegrityError:
        raise WrongState("This time was corrected already.") from None
    times = [one.at for one in events_in_force(session)]
    session.first_at, session.last_at = min(times), max(times)
    session.save(update_fields=["first_at", "last_at"])
    audit.record(
        "session.time_corrected",
        session,
        actor=acting_user,
        reason=text,
        before={event.kind: event.at},
        after={event.kind: at},
    )
    enqueue("lapses.judge_session", session.pk)
    return made


def _require_startable(
    job: Job, system: MeasuringSystem, person: User, at: datetime
) -> None:
    require_open(job)
    if job.state not in MEASURABLE:
        raise WrongState(
            f"{job.number} is {job.get_state_display().lower()}. "
            "Receive its items before it is measured."
        )
    _require_authorised(job, person, at)
    hold = open_holds(job).first()
    if hold is not None:
        raise WrongState(f"{job.number} is on hold: {hold.title}. Clear that first.")
    if not system.in_use:
        raise WrongState(f"{system.name} is not in use.")
    _require_in_service(system)
    running = system.sessions.filter(state=State.RUNNING).select_related("job").first()
    if running is not None:
        raise WrongState(
            f"{system.name} measures {running.job.number} already. Pause or end that "
            "session first."
        )


def _require_in_service(system: MeasuringSystem) -> None:
    """Refuse a system with a device that is out of service or away for calibration."""
    for device in (system.tracker, system.scanner):
        if not is_in_service(device):
            raise WrongState(
                f"{device.tag} of {system.name} is out of service or away. Choose "
                "another system, or put the device back first."
            )


def _require_authorised(job: Job, person: User, at: datetime) -> None:
    agreement = agreement_in_force(job)
    if agreement is None:
        raise WrongState(
            f"Nothing is agreed for {job.number} yet. Record the contract review."
        )
    method = agreement.method.method
    if not is_authorised(person, method, Activity.MEASURE, at):
        raise NotAllowed(
            f"You are not authorised to measure by {method.code}. The quality manager "
            "grants that."
        )


def _require_present(job: Job, items: Sequence[JobItem]) -> None:
    if not items:
        raise NotAcceptable("Say which items are measured.", field="items")
    for item in items:
        if item.job_id != job.pk:
            raise NotAcceptable(f"{item.serial} is of another job.", field="items")
        if not hasattr(item, "receipt") or hasattr(item, "returning"):
            raise NotAcceptable(f"{item.serial} is not here.", field="items")


def _add_event(
    session: MeasuringSession, kind: str, at: datetime, reason: str, person: User
) -> SessionEvent:
    clock.require_not_future(at)
    lock_systems([session.system])
    wanted, becomes = EVENTS[Kind(kind)]
    allowed = [wanted, State.PAUSED] if kind == Kind.END else [wanted]
    last_at = MeasuringSession.objects.values_list("last_at", flat=True).get(
        pk=session.pk
    )
    if at < last_at:
        raise NotAcceptable(
            f"The last event of this session was at {last_at:%Y-%m-%d %H:%M} UTC; "
            "this one can't lie before it.",
            field="at",
        )
    rows = MeasuringSession.objects.filter(pk=session.pk, state__in=allowed)
    if rows.update(state=becomes, last_at=at) != 1:
        session.refresh_from_db()
        raise WrongState(
            f"The session is {session.get_state_display().lower()}; that can't be "
            "done to it."
        )
    session.refresh_from_db()
    made = SessionEvent.objects.create(
        session=session, kind=kind, at=at, reason=reason, said_by=person
    )
    audit.record(
        f"session.{kind}",
        session,
        actor=person,
        reason=reason,
        after={"at": at, "state": becomes},
    )
    enqueue("lapses.judge_session", session.pk)
    return made


def _require_order(
    session: MeasuringSession, event: SessionEvent, at: datetime
) -> None:
    """Refuse a corrected time that would put the events into another order."""
    events = events_in_force(session)
    place = [one.pk for one in events].index(event.pk) if event in events else -1
    if place < 0:
        raise WrongState("This time was corrected already.")
    if place > 0 and at < events[place - 1].at:
        raise NotAcceptable(
            f"It can't lie before the {events[place - 1].kind} before it.", field="at"
        )
    if place + 1 < len(events) and at > events[place + 1].at:
        raise NotAcceptable(
            f"It can't lie after the {events[place + 1].kind} after it.", field="at"
        )
