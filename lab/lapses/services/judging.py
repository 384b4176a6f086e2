"""Judging sessions by the lapse rules, and holding the jobs of those found wanting."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from django.db.models import Max, QuerySet

from lab.checks.locks import lock_systems
from lab.checks.models import (
    ArtefactCheck,
    Break,
    CheckVoid,
    LateConfirmation,
    MeasuringSystem,
)
from lab.common import audit, clock
from lab.common.actors import PROGRAM, Actor
from lab.common.services import service
from lab.common.work import enqueue
from lab.environment.models import SpotReading
from lab.equipment.models import Device
from lab.jobs.models import MeasuringSession
from lab.jobs.services import raise_hold
from lab.lapses.facts import facts_of
from lab.lapses.keys import cause_key, number_in
from lab.lapses.models import Bookmark, Finding, Judgement, LaterFinding
from lab.lapses.reach import new_checks, sessions_between, touched_sessions
from lab.lapses.selectors import (
    sessions_around_reading,
    sessions_of_device,
    sessions_of_person,
)
from lab.lapses.services.later import record_from_calibrations
from lab.lapses.services.tasks import raise_tasks
from lab.lapses.words import reason_of, title_of
from lab.metrology import bracketing


@service
def judge_sessions_now(
    *, sessions: Sequence[MeasuringSession], acting_user: Actor
) -> list[Judgement]:
    """Judge sessions as of now; each finding that is new raises a hold of its own.

    Their systems are locked first, so that no check slips in between. Judging again
    changes nothing but when it was judged; no finding is ever taken back here.
    """
    lock_systems(session.system for session in sessions)
    made = [_judge(session) for session in sessions]
    audit.nothing_changed()
    return [judgement for judgement in made if judgement is not None]


@service
def judge_session(*, session: MeasuringSession, acting_user: Actor) -> Judgement | None:
    """Judge one session as of now; see :func:`judge_sessions_now`."""
    made = judge_sessions_now(sessions=[session], acting_user=acting_user)
    return made[0] if made else None


@service
def judge_session_by_id(*, session_id: int, acting_user: Actor) -> Judgement | None:
    """Judge the session that a row of work names."""
    session = MeasuringSession.objects.select_related("system", "job").get(
        pk=session_id
    )
    return judge_session(session=session, acting_user=acting_user)


@service
def judge_system(*, system_id: int, acting_user: Actor) -> list[Judgement]:
    """Judge the sessions that a system's new checks and breaks can touch.

    A check that failed raises a task for each session of another system that it may
    bear on. Cost grows with what was recorded since the last time, not with the
    archive.
    """
    (system,) = lock_systems([MeasuringSystem.objects.get(pk=system_id)])
    bookmark, _ = Bookmark.objects.get_or_create(system=system)
    touched = touched_sessions(system, bookmark)
    made = judge_sessions_now(sessions=touched, acting_user=acting_user)
    for check in new_checks(system, bookmark):
        if not check.passed and not check.is_void:
            raise_tasks(check=check, acting_user=acting_user)
    _advance(bookmark)
    return made


@service
def judge_device(*, device_id: int, acting_user: Actor) -> None:
    """Judge what leans on a device whose calibrations or later findings are new.

    A calibration that found it out of tolerance is written down as a later finding
    first.
    """
    device = Device.objects.get(pk=device_id)
    record_from_calibrations(device=device, acting_user=acting_user)
    _judge_all(sessions_of_device(device), acting_user)


@service
def judge_finding(*, finding_id: int, acting_user: Actor) -> None:
    """Judge the sessions of the system that a later finding is about."""
    found = LaterFinding.objects.select_related("system").get(pk=finding_id)
    if found.system is not None:
        _judge_all(
            sessions_between(found.system, found.since, found.until), acting_user
        )
    audit.nothing_changed()


@service
def judge_person(*, person_id: int, acting_user: Actor) -> None:
    """Judge the sessions in which a person measures whose authority has changed."""
    _judge_all(sessions_of_person(person_id), acting_user)
    audit.nothing_changed()


@service
def judge_reading(*, reading_id: int, acting_user: Actor) -> None:
    """Judge the sessions whose room a new or corrected reading tells of."""
    reading = SpotReading.objects.select_related("supersedes").get(pk=reading_id)
    _judge_all(sessions_around_reading(reading), acting_user)
    audit.nothing_changed()


def _judge_all(rows: QuerySet[MeasuringSession], actor: Actor) -> None:
    sessions = list(rows.select_related("system", "job"))
    judge_sessions_now(sessions=sessions, acting_user=actor)


def _judge(session: MeasuringSession) -> Judgement | None:
    facts = facts_of(session)
    if facts is None:
        return None
    now = clock.now()
    answer = facts.judged(now)
    _write_findings(session, answer.findings)
    judgement, _ = Judgement.objects.update_or_create(
        session=session,
        defaults={
            "state": answer.state.value,
            "word": answer.word,
            "judged_at": now,
            "judge_again_at": answer.judge_again_at,
        },
    )
    return judgement


def _write_findings(
    session: MeasuringSession, findings: Iterable[bracketing.Finding]
) -> None:
    known = set(session.findings.values_list("cause_key", flat=True))
    for finding in findings:
        key = _cause_key(session, finding)
        if key in known:
            continue
        reason = reason_of(finding)
        hold = raise_hold(
            job=session.job,
            session=session,
            cause_key=key,
            title=title_of(finding, session),
            reason=reason,
            acting_user=PROGRAM,
        )
        made = Finding.objects.create(
            session=session,
            name=finding.name.value,
            cause=finding.cause.key[:80],
            procedure_id=number_in(finding.procedure),
            cause_key=key,
            reason=reason,
            window_from=finding.start,
            window_until=finding.end,
            hold=hold,
        )
        if finding.name is bracketing.FindingName.SUSPECT:
            enqueue("evidence.open_case", made.pk)


def _cause_key(session: MeasuringSession, finding: bracketing.Finding) -> str:
    return cause_key(
        session.pk, finding.name.value, finding.cause.key, finding.procedure
    )


def _advance(bookmark: Bookmark) -> None:
    """Move the bookmark to the newest records of its system."""
    own = {"system": bookmark.system}
    of_check = {"artefact_check__system": bookmark.system}
    newest: dict[str, QuerySet[Any]] = {
        "last_check": ArtefactCheck.objects.filter(**own),
        "last_void": CheckVoid.objects.filter(**of_check),
        "last_confirmation": LateConfirmation.objects.filter(**of_check),
        "last_break": Break.objects.filter(**own),
    }
    for name, rows in newest.items():
        setattr(bookmark, name, rows.aggregate(newest=Max("pk"))["newest"] or 0)
    bookmark.save(update_fields=list(newest))
