"""What a case touches: sessions, their jobs, the certificates that lean on them.

Computed from the records each time it is asked for, in a fixed number of queries. A
session counts if a finding of the cause is on it, or if it overlaps with the window
and used the system or the device in question; so does everything of a job that a
person named.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from django.db.models import Exists, OuterRef, Q, QuerySet

from lab.certificates.models import Certificate
from lab.customers.models import Customer
from lab.evidence.models import Case, CaseWindow, NamedJob
from lab.jobs.models import Hold, Job, MeasuringSession
from lab.lapses.models import SuspicionTask, TaskDecision
from lab.lapses.selectors import systems_of_device
from lab.metrology.bracketing import FindingName


@dataclass(frozen=True, slots=True)
class Touched:
    """All that one case touches, as the records stand now."""

    window: CaseWindow | None
    sessions: Sequence[MeasuringSession]
    jobs: Sequence[Job]
    certificates: Sequence[Certificate]
    tasks: Sequence[SuspicionTask]

    @property
    def customers(self) -> list[Customer]:
        """Return the customers who hold a certificate that is touched."""
        return unique(one.job.customer for one in self.certificates)

    def certificates_of(self, customer: Customer) -> list[Certificate]:
        return [one for one in self.certificates if one.job.customer_id == customer.pk]


def touched_by(case: Case) -> Touched:
    windows = list(case.windows.select_related("set_by"))
    window = windows[-1] if windows else None
    tasks = tasks_of(case)
    named = [
        row.job for row in case.named_jobs.select_related("job__customer", "named_by")
    ]
    sessions = list(_sessions(case, windows, tasks, named))
    jobs = unique([*(one.job for one in sessions), *named])
    return Touched(
        window=window,
        sessions=sessions,
        jobs=sorted(jobs, key=lambda job: job.number),
        certificates=list(_certificates(sessions, named)),
        tasks=tasks,
    )


def tasks_of(case: Case) -> list[SuspicionTask]:
    """Return the sessions of related systems, with what was decided of each."""
    if case.artefact_check_id is None:
        return []
    rows = SuspicionTask.objects.filter(artefact_check=case.artefact_check_id)
    return list(
        rows.select_related(
            "session__system", "session__job__customer", "decision__decided_by"
        )
    )


def unique(rows: Iterable[object]) -> list:  # type: ignore[type-arg]
    """Return each row once, in the order in which they first came."""
    return list({row.pk: row for row in rows}.values())  # type: ignore[attr-defined]


def _sessions(
    case: Case,
    windows: Sequence[CaseWindow],
    tasks: Sequence[SuspicionTask],
    named: Sequence[Job],
) -> QuerySet[MeasuringSession]:
    found = Q(findings__cause__in=_causes(case, windows, tasks))
    found &= Q(findings__name=FindingName.SUSPECT.value)
    wanted = found | Q(job__in=[job.pk for job in named])
    if windows:
        wanted |= _used(case) & _overlaps(windows[-1])
    rows = MeasuringSession.objects.filter(wanted).distinct()
    held = Hold.objects.filter(session=OuterRef("pk"), clearance=None)
    return (
        rows.select_related("job__customer", "system", "started_by", "judgement")
        .annotate(is_held=Exists(held))
        .order_by("first_at", "pk")
    )


def _causes(
    case: Case, windows: Sequence[CaseWindow], tasks: Sequence[SuspicionTask]
) -> list[str]:
    keys = [case.cause_key.partition(";")[0]] if case.cause_key else []
    keys += [f"finding:{w.later_finding_id}" for w in windows if w.later_finding_id]
    affected = TaskDecision.Outcome.AFFECTED
    return keys + [
        f"task:{task.pk}"
        for task in tasks
        if not task.is_open and task.decision.outcome == affected
    ]


def _used(case: Case) -> Q:
    used = Q(pk__in=())
    if case.system_id is not None:
        used |= Q(system=case.system_id)
    if case.device is not None and case.cause_key is None:
        used |= Q(system__in=systems_of_device(case.device))
    return used


def _overlaps(window: CaseWindow) -> Q:
    inside = Q(first_at__lt=window.until)
    if window.since is not None:
        runs = Q(state=MeasuringSession.State.RUNNING)
        inside &= Q(last_at__gt=window.since) | runs
    return inside


def _certificates(
    sessions: Sequence[MeasuringSession], named: Sequence[Job]
) -> QuerySet[Certificate]:
    """Return what states results of those sessions, or is of a named job."""
    keys = [session.pk for session in sessions]
    rows = Certificate.objects.filter(
        Q(certified_results__result__session__in=keys)
        | Q(job__in=[job.pk for job in named])
    ).distinct()
    amended = Certificate.objects.filter(amends=OuterRef("pk"), withdrawal=None)
    return (
        rows.select_related("job__customer", "withdrawal", "replacement")
        .annotate(is_amended=Exists(amended))
        .order_by("number")
    )


def cases_of(job: Job) -> QuerySet[Case]:
    """Return the cases that touch a job: by a finding, by name, by a certificate."""
    named = NamedJob.objects.filter(job=job).values("case")
    decided = Certificate.objects.filter(job=job).values("case_decisions__case")
    causes = job.sessions.filter(findings__name=FindingName.SUSPECT.value).values(
        "findings__cause"
    )
    tasks = SuspicionTask.objects.filter(session__job=job).values("artefact_check")
    return Case.objects.filter(
        Q(pk__in=named)
        | Q(pk__in=decided)
        | Q(cause_key__in=causes)
        | Q(artefact_check__in=tasks)
    ).order_by("state", "-pk")
