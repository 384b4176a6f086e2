"""What the worker does about lapses: judge what an event or the time has touched."""

from __future__ import annotations

from datetime import timedelta

from lab.common.actors import PROGRAM
from lab.common.work.kinds import Kind
from lab.environment.models import Excursion
from lab.lapses import services
from lab.lapses.conditions import sessions_touched_by
from lab.lapses.selectors import anything_due, due_judgements

#: How many sessions the sweep judges in one transaction: well under 50 ms of lock.
SWEEP_BATCH = 5


def judge_due() -> int:
    """Judge what passing time has changed; return how many sessions were judged."""
    judged = 0
    while True:
        due = due_judgements().select_related("session__system", "session__job")
        sessions = [judgement.session for judgement in due[:SWEEP_BATCH]]
        if not sessions:
            return judged
        services.judge_sessions_now(sessions=sessions, acting_user=PROGRAM)
        judged += len(sessions)


def judge_excursion(excursion_id: int) -> None:
    """Judge the sessions that a room's excursion overlaps with, each by itself."""
    excursion = Excursion.objects.get(pk=excursion_id)
    for session in sessions_touched_by(excursion):
        services.judge_session(session=session, acting_user=PROGRAM)


KINDS = {
    "lapses.judge_excursion": Kind(judge_excursion, limit_s=600),
    "lapses.judge_session": Kind(
        lambda pk: services.judge_session_by_id(session_id=pk, acting_user=PROGRAM),
        limit_s=120,
    ),
    "lapses.judge_system": Kind(
        lambda pk: services.judge_system(system_id=pk, acting_user=PROGRAM),
        limit_s=600,
    ),
    "lapses.judge_device": Kind(
        lambda pk: services.judge_device(device_id=pk, acting_user=PROGRAM),
        limit_s=600,
    ),
    "lapses.judge_finding": Kind(
        lambda pk: services.judge_finding(finding_id=pk, acting_user=PROGRAM),
        limit_s=600,
    ),
    "lapses.judge_person": Kind(
        lambda pk: services.judge_person(person_id=pk, acting_user=PROGRAM),
        limit_s=600,
    ),
    "lapses.judge_reading": Kind(
        lambda pk: services.judge_reading(reading_id=pk, acting_user=PROGRAM),
        limit_s=600,
    ),
    "lapses.sweep": Kind(
        judge_due, limit_s=600, every=timedelta(minutes=1), due=anything_due
    ),
}
