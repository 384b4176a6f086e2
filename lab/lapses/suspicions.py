"""How far the doubt reaches that a failed check casts: its own sessions and others'."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime

from django.db.models import Exists, OuterRef, Q, QuerySet

from lab.checks.models import ArtefactCheck, MeasuringSystem
from lab.equipment.models import Device
from lab.jobs.models import MeasuringSession
from lab.jobs.selectors import segments
from lab.lapses.facts import check_fact, procedures_at, standing_passes
from lab.lapses.models import SuspicionTask, TaskDecision
from lab.metrology import bracketing

Verdict = ArtefactCheck.Verdict


@dataclass(frozen=True, slots=True)
class Related:
    """A session of another system, and the devices that it shares with the check."""

    session: MeasuringSession
    devices: tuple[Device, ...]

    @property
    def shared(self) -> str:
        return ", ".join(device.tag for device in self.devices)


def suspicion_window(check: ArtefactCheck) -> bracketing.Suspicion:
    """Return the time that a failed check casts doubt on: all since the last pass."""
    before = standing_passes(check.system_id).filter(
        procedure__procedure=check.procedure.procedure_id,
        ended_at__lte=check.started_at,
        started_at__lt=check.started_at,
    )
    last = before.select_related("procedure", "void", "late_confirmation")
    return bracketing.suspicion_of(
        check_fact(check),
        [check_fact(one) for one in last.order_by("-started_at")[:1]],
        [],
    )


def sessions_in_window(
    systems: Iterable[MeasuringSystem], start: datetime | None, end: datetime
) -> list[MeasuringSession]:
    """Return the sessions of some systems that measured between two instants.

    A session that was paused all the while did not. ``start`` of None: since ever.
    """
    rows = MeasuringSession.objects.filter(
        system__in=[system.pk for system in systems], first_at__lt=end
    )
    if start is not None:
        runs = Q(state=MeasuringSession.State.RUNNING)
        rows = rows.filter(Q(last_at__gt=start) | runs)
    rows = rows.select_related("system", "job", "room").order_by("first_at", "pk")
    return [session for session in rows if _measured(session, start, end)]


def related_sessions(check: ArtefactCheck) -> list[Related]:
    """Return the sessions of other systems that a failed check may bear on.

    They used its tracker, its scanner or its artefact in the time that it casts
    doubt on. Of an artefact: their system's procedures asked for it then.
    """
    window = suspicion_window(check)
    devices = _devices_of(check)
    others = MeasuringSystem.objects.exclude(pk=check.system_id).filter(
        Q(tracker__in=devices)
        | Q(scanner__in=devices)
        | Q(needs__procedure__revisions__artefact__in=devices)
    )
    found = []
    for session in sessions_in_window(others.distinct(), window.start, window.end):
        shared = _used_by(session) & set(devices)
        if shared:
            tags = sorted((devices[pk] for pk in shared), key=lambda one: one.tag)
            found.append(Related(session, tuple(tags)))
    return found


def undecided_tasks(
    sessions: Sequence[MeasuringSession],
) -> QuerySet[SuspicionTask]:
    """Return what is still to decide about some sessions."""
    rows = SuspicionTask.objects.filter(session__in=[s.pk for s in sessions])
    return rows.filter(decision=None).select_related(
        "artefact_check__system", "session__system"
    )


def undecided_suspicions(sessions: Sequence[MeasuringSession]) -> list[str]:
    """Return, in sentences, what keeps certificates on sessions from being issued.

    Besides the open tasks these are failed checks so new that their tasks are not
    written yet: nothing slips through while the work waits in the queue.
    """
    reasons = [
        f"Check {task.artefact_check_id} of {task.artefact_check.system} failed, and "
        f"session {task.session_id} used {task.shared} as well. Decide whether it is "
        "affected first."
        for task in undecided_tasks(sessions)
    ]
    for session in sessions:
        reasons += [
            f"Check {check.pk} of {check.system} failed, and session {session.pk} "
            "shares a device with it. Decide whether it is affected first."
            for check in _new_related_fails(session)
        ]
    return reasons


def decisions_after(check: ArtefactCheck) -> QuerySet[TaskDecision]:
    """Return what was decided about the sessions that a failed check may bear on."""
    rows = TaskDecision.objects.filter(task__artefact_check=check)
    return rows.select_related("task__session", "decided_by").order_by("task")


def _new_related_fails(session: MeasuringSession) -> list[ArtefactCheck]:
    used = _used_by(session)
    known = SuspicionTask.objects.filter(
        artefact_check=OuterRef("pk"), session=session.pk
    )
    fails = ArtefactCheck.objects.filter(
        Q(system__tracker__in=used)
        | Q(system__scanner__in=used)
        | Q(procedure__artefact__in=used),
        ~Exists(known),
        verdict=Verdict.FAIL,
        void=None,
        ended_at__gt=session.first_at,
    )
    rows = fails.exclude(system=session.system_id).select_related(
        "procedure", "system", "void", "late_confirmation"
    )
    return [check for check in rows.order_by("ended_at") if _bears_on(check, session)]


def _bears_on(check: ArtefactCheck, session: MeasuringSession) -> bool:
    window = suspicion_window(check)
    return _measured(session, window.start, window.end)


def _measured(session: MeasuringSession, start: datetime | None, end: datetime) -> bool:
    return any(
        one.start < end and (one.end is None or start is None or one.end > start)
        for one in segments(session)
    )


def _devices_of(check: ArtefactCheck) -> dict[int, Device]:
    keys = {
        check.system.tracker_id,
        check.system.scanner_id,
        check.procedure.artefact_id,
    }
    return Device.objects.in_bulk(list(keys))


def _used_by(session: MeasuringSession) -> set[int]:
    """Return the tracker, the scanner and the artefacts of a session's system then."""
    artefacts = {revision.artefact_id for revision in procedures_at(session)}
    return {session.system.tracker_id, session.system.scanner_id, *artefacts}
