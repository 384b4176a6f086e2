"""Which sessions an event of a system reaches: those between its neighbours."""

from __future__ import annotations

from datetime import datetime

from django.db.models import Exists, F, OuterRef, Q, QuerySet

from lab.checks.models import (
    ArtefactCheck,
    Break,
    CheckVoid,
    LateConfirmation,
    MeasuringSystem,
    Need,
)
from lab.jobs.models import MeasuringSession
from lab.lapses.facts import break_fact, check_fact, checks_of, kinds_of
from lab.lapses.keys import procedure_key
from lab.lapses.models import Bookmark
from lab.metrology import bracketing

Verdict = ArtefactCheck.Verdict


def touched_sessions(
    system: MeasuringSystem, bookmark: Bookmark
) -> list[MeasuringSession]:
    """Return the sessions that what was recorded since the bookmark can touch."""
    reaches = [_reach_of_check(check) for check in new_checks(system, bookmark)]
    new_breaks = system.breaks.filter(pk__gt=bookmark.last_break)
    reaches += [_reach_of_break(system, one) for one in new_breaks]
    touched: dict[int, MeasuringSession] = {}
    for reach in reaches:
        for session in sessions_between(system, reach.start, reach.end):
            touched[session.pk] = session
    return [touched[pk] for pk in sorted(touched)]


def new_checks(system: MeasuringSystem, bookmark: Bookmark) -> list[ArtefactCheck]:
    """Return a system's checks that were recorded, voided or confirmed since."""
    # Looked up one by one: joined by "or", they would be sought through the archive.
    own = ArtefactCheck.objects.filter(system=system, pk__gt=bookmark.last_check)
    keys = set(own.order_by().values_list("pk", flat=True))
    voids = CheckVoid.objects.filter(pk__gt=bookmark.last_void)
    keys |= set(voids.values_list("artefact_check", flat=True))
    words = LateConfirmation.objects.filter(pk__gt=bookmark.last_confirmation)
    keys |= set(words.values_list("artefact_check", flat=True))
    return list(checks_of(system.pk).filter(pk__in=keys))


def sessions_between(
    system: MeasuringSystem, start: datetime | None, end: datetime | None
) -> QuerySet[MeasuringSession]:
    """Return a system's sessions that began by an end and lasted to a start."""
    rows = system.sessions.select_related("system", "job")
    if start is not None:
        still = Q(last_at__gte=start) | Q(state=MeasuringSession.State.RUNNING)
        rows = rows.filter(still)
    if end is not None:
        rows = rows.filter(first_at__lte=end)
    return rows


def _reach_of_check(check: ArtefactCheck) -> bracketing.Reach:
    """Return how far a check reaches, told of its neighbours only."""
    own = _counting(check.system_id).filter(
        procedure__procedure=check.procedure.procedure_id
    )
    return bracketing.reach_of_check(
        check_fact(check),
        [check_fact(one) for one in _beside(own.exclude(pk=check.pk), check)],
        [
            break_fact(one)
            for one in Break.objects.filter(
                system=check.system_id, at__gt=check.ended_at
            ).order_by("at")[:1]
        ],
    )


def _beside(rows: QuerySet[ArtefactCheck], check: ArtefactCheck) -> list[ArtefactCheck]:
    """Return the last pass before a check, and the first that ends after it."""
    before = rows.filter(
        verdict=Verdict.PASS,
        ended_at__lte=check.started_at,
        started_at__lt=check.started_at,
    )
    after = rows.filter(ended_at__gt=check.ended_at).order_by("ended_at")
    return [*before.order_by("-started_at")[:1], *after[:1]]


def _reach_of_break(system: MeasuringSystem, one: Break) -> bracketing.Reach:
    """Return how far a break reaches, told of its neighbours only."""
    counting = _counting(system.pk, without=one)
    checks: dict[int, ArtefactCheck] = {}
    for kind in kinds_of(system.pk):
        own = counting.filter(procedure__procedure=kind)
        near = [
            *own.filter(ended_at__lte=one.at).order_by("-started_at")[:1],
            *own.filter(ended_at__gt=one.at).order_by("ended_at")[:1],
        ]
        for astride in own.filter(started_at__lt=one.at, ended_at__gt=one.at):
            near += [astride, *_beside(own.exclude(pk=astride.pk), astride)]
        checks |= {check.pk: check for check in near}
    needed = Need.objects.not_ended(one.at).filter(system=system)
    others = system.breaks.exclude(pk=one.pk)
    return bracketing.reach_of_break(
        break_fact(one),
        [
            procedure_key(kind)
            for kind in set(needed.values_list("procedure", flat=True))
        ],
        [check_fact(check) for check in checks.values()],
        [
            break_fact(other)
            for other in (
                *others.filter(at__lt=one.at).order_by("-at")[:1],
                *others.filter(at__gt=one.at).order_by("at")[:1],
            )
        ],
    )


def _counting(system_id: int, without: Break | None = None) -> QuerySet[ArtefactCheck]:
    """Return the checks of a system that count: every fail, and each standing pass.

    A pass with a break in its midst is none; one break may be looked away from, to
    see how it was before that one.
    """
    astride = Break.objects.filter(
        system=OuterRef("system"),
        at__gt=OuterRef("started_at"),
        at__lt=OuterRef("ended_at"),
    )
    if without is not None:
        astride = astride.exclude(pk=without.pk)
    in_time = Q(recorded_at__lte=F("ended_at") + bracketing.LATE_AFTER)
    confirmed = Q(late_confirmation__isnull=False)
    stands = Q(verdict=Verdict.FAIL) | ((in_time | confirmed) & ~Exists(astride))
    return checks_of(system_id).filter(stands, void=None)
