"""What was found about sessions, and which are due to be judged."""

from __future__ import annotations

from datetime import datetime, time

from django.db.models import Q, QuerySet

from lab.checks.models import (
    ArtefactCheck,
    Break,
    CheckVoid,
    LateConfirmation,
    MeasuringSystem,
    Need,
)
from lab.common import clock
from lab.equipment.models import Calibration, Device
from lab.jobs.models import Job, MeasuringSession
from lab.laboratory.selectors import home_zone
from lab.lapses.facts import break_fact, check_fact, checks_between, standing_passes
from lab.lapses.models import Bookmark, Finding, Judgement
from lab.metrology import bracketing


def findings_of(job: Job) -> QuerySet[Finding]:
    """Return the findings on a job's sessions, with their holds and clearances."""
    rows = Finding.objects.filter(session__job=job)
    return rows.select_related(
        "session__system", "hold", "hold__clearance", "hold__clearance__cleared_by"
    ).order_by("session", "pk")


def judgement_of(session: MeasuringSession) -> Judgement | None:
    return Judgement.objects.filter(session=session).first()


def due_judgements() -> QuerySet[Judgement]:
    """Return the judgements that passing time has changed, the oldest first."""
    rows = Judgement.objects.filter(judge_again_at__lte=clock.now())
    return rows.order_by("judge_again_at")


def anything_due() -> bool:
    return due_judgements().exists()


def sessions_of_device(device: Device) -> QuerySet[MeasuringSession]:
    """Return the sessions that a device's newest calibrations may bear on."""
    newest = device.calibrations.order_by("-pk").first()
    rows = MeasuringSession.objects.filter(
        Q(system__tracker=device)
        | Q(system__scanner=device)
        | Q(system__procedures__revisions__artefact=device)
        | Q(part_temperatures__thermometer=device)
        | Q(room__spot_readings__sensor=device)
    )
    if newest is not None:
        rows = rows.filter(last_at__gte=_counts_since(newest))
    return rows.distinct().order_by("first_at")


def _counts_since(newest: Calibration) -> datetime:
    first = newest.counts_from
    if newest.supersedes is not None:
        first = min(first, newest.supersedes.counts_from)
    return datetime.combine(first, time.min, tzinfo=home_zone())


# --- What an event of a system reaches -----------------------------------------------


def touched_sessions(
    system: MeasuringSystem, bookmark: Bookmark
) -> list[MeasuringSession]:
    """Return the sessions that what was recorded since the bookmark can touch."""
    reaches = [_reach_of_check(check) for check in _new_checks(system, bookmark)]
    new_breaks = system.breaks.filter(pk__gt=bookmark.last_break)
    reaches += [_reach_of_break(system, one) for one in new_breaks]
    touched: dict[int, MeasuringSession] = {}
    for reach in reaches:
        for session in _sessions_within(system, reach):
            touched[session.pk] = session
    return [touched[pk] for pk in sorted(touched)]


def _new_checks(system: MeasuringSystem, bookmark: Bookmark) -> list[ArtefactCheck]:
    voids = CheckVoid.objects.filter(pk__gt=bookmark.last_void)
    confirmations = LateConfirmation.objects.filter(pk__gt=bookmark.last_confirmation)
    new = (
        Q(pk__gt=bookmark.last_check)
        | Q(void__in=voids)
        | Q(late_confirmation__in=confirmations)
    )
    rows = ArtefactCheck.objects.filter(new, system=system)
    return list(rows.select_related("procedure", "void", "late_confirmation"))


def _reach_of_check(check: ArtefactCheck) -> bracketing.Reach:
    """Return how far a check reaches, told of its neighbours only."""
    same = {"procedure__procedure": check.procedure.procedure_id}
    passes = standing_passes(check.system_id).filter(**same).exclude(pk=check.pk)
    before = passes.filter(ended_at__lte=check.started_at).order_by("-ended_at").first()
    after = (
        checks_between(check.system_id, None, None)
        .filter(**same, ended_at__gt=check.ended_at, void=None)
        .order_by("ended_at")[:5]
    )
    neighbours = [check_fact(one) for one in [*([before] if before else []), *after]]
    later_breaks = Break.objects.filter(
        system=check.system_id,
        at__gte=before.started_at if before else check.started_at,
    )
    breaks = [break_fact(one) for one in later_breaks.order_by("at")[:50]]
    return bracketing.reach_of_check(check_fact(check), neighbours, breaks)


def _reach_of_break(system: MeasuringSystem, one: Break) -> bracketing.Reach:
    """Return how far a break reaches, told of its neighbours only."""
    checks: list[ArtefactCheck] = []
    rows = checks_between(system.pk, None, None).filter(void=None)
    needs = Need.objects.not_ended(one.at).filter(system=system)
    kinds = set(needs.values_list("procedure", flat=True))
    for kind in kinds:
        own = rows.filter(procedure__procedure=kind)
        checks += own.filter(ended_at__lte=one.at).order_by("-ended_at")[:3]
        checks += own.filter(ended_at__gt=one.at).order_by("ended_at")[:3]
    others = system.breaks.exclude(pk=one.pk)
    near = [
        *others.filter(at__lte=one.at).order_by("-at")[:10],
        *others.filter(at__gt=one.at).order_by("at")[:10],
    ]
    return bracketing.reach_of_break(
        break_fact(one),
        [f"procedure:{kind}" for kind in kinds],
        [check_fact(check) for check in checks],
        [break_fact(other) for other in near],
    )


def _sessions_within(
    system: MeasuringSystem, reach: bracketing.Reach
) -> QuerySet[MeasuringSession]:
    rows = system.sessions.select_related("system", "job")
    if reach.start is not None:
        still = Q(last_at__gte=reach.start) | Q(state=MeasuringSession.State.RUNNING)
        rows = rows.filter(still)
    if reach.end is not None:
        rows = rows.filter(first_at__lte=reach.end)
    return rows
