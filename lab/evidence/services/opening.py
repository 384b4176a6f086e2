"""Opening a case: by hand for any cause, or by itself where a finding asks for one."""

from __future__ import annotations

import json
from dataclasses import dataclass
from datetime import datetime

from django.db import IntegrityError, transaction
from django.db.models import Q

from lab.accounts.models import User
from lab.checks.models import ArtefactCheck, MeasuringSystem
from lab.common import audit, clock
from lab.common.actors import Actor
from lab.common.errors import NotAcceptable
from lab.common.services import service
from lab.common.texts import refuse_placeholder
from lab.equipment.models import Device
from lab.evidence.guards import lock_open
from lab.evidence.models import Case, CaseWindow, NamedJob
from lab.jobs.models import Job
from lab.lapses.keys import number_in
from lab.lapses.models import Finding, LaterFinding, SuspicionTask
from lab.lapses.selectors import suspicion_window
from lab.metrology.bracketing import FindingName

Cause = Case.Cause
DEFAULT_WINDOW = "As the lapse rules have it: all since the last pass."
FOUND_WINDOW = "The time that the finding covers."


@service(may="cases.open")
def open_case(
    *,
    cause: str,
    title: str,
    account: str,
    system: MeasuringSystem | None = None,
    device: Device | None = None,
    since: datetime | None = None,
    until: datetime | None = None,
    job: Job | None = None,
    acting_user: User,
) -> Case:
    """Open a case by hand, about a system, a device or a job.

    Raises
    ------
    NotAcceptable
        If the cause is none, a text says nothing, it is about nothing, or the times
        are out of order or only half given.
    """
    if cause not in Cause:
        raise NotAcceptable(f"“{cause}” is no cause.", field="cause")
    if system is None and device is None and job is None:
        raise NotAcceptable(
            "Say what it is about: a system, a device or a job.", field="job"
        )
    if (system or device) and until is None:
        raise NotAcceptable(
            "Of a system or a device, say until when it is in question.", field="until"
        )
    if since is not None and until is not None and until <= since:
        raise NotAcceptable("The window ends before it begins.", field="until")
    case = Case.objects.create(
        cause=cause,
        title=refuse_placeholder(title, "title"),
        account=refuse_placeholder(account, "account"),
        system=system,
        device=device,
        opened_by=acting_user,
    )
    if until is not None:
        clock.require_not_future(until, field="until")
        CaseWindow.objects.create(
            case=case,
            since=since,
            until=until,
            reason="As said when it was opened.",
            set_by=acting_user,
        )
    if job is not None:
        NamedJob.objects.create(case=case, job=job, named_by=acting_user)
    _record(case, acting_user, job=job.number if job else "")
    return case


@service(may="cases.open")
def name_job(*, case: Case, job: Job, acting_user: User) -> NamedJob:
    """Say that a case touches a job, whatever its times. Twice changes nothing."""
    case = lock_open(case)
    row, is_new = NamedJob.objects.get_or_create(
        case=case, job=job, defaults={"named_by": acting_user}
    )
    if is_new:
        audit.record("case.job_named", case, actor=acting_user, after={"job": str(job)})
    else:
        audit.nothing_changed()
    return row


@dataclass(frozen=True, slots=True)
class _Wanted:
    """The case that a finding asks for."""

    key: str
    cause: Cause
    title: str
    since: datetime | None
    until: datetime
    window_reason: str
    system: MeasuringSystem | None = None
    device: Device | None = None
    check: ArtefactCheck | None = None


@service
def open_for_finding(*, finding_id: int, acting_user: Actor) -> Case | None:
    """Open the case of a finding's cause, unless there is one; return it.

    Many findings have one cause; the first opens the case and the others are found
    in it. Where the case of the cause is closed and did not know the session, a
    further one is opened. Findings that are no suspicion ask for none.
    """
    finding = Finding.objects.select_related("session").get(pk=finding_id)
    wanted = _wanted_by(finding)
    if wanted is None:
        audit.nothing_changed()
        return None
    cases = _cases_of(wanted.key)
    for case in cases:
        if case.is_open or _knew(case, finding):
            audit.nothing_changed()
            return case
    return _open(wanted, finding, len(cases), acting_user)


def _cases_of(key: str) -> list[Case]:
    """Return the cases of one cause: the first, and those opened after it closed."""
    rows = Case.objects.filter(Q(cause_key=key) | Q(cause_key__startswith=f"{key};"))
    return list(rows.select_related("closure").order_by("pk"))


def _knew(case: Case, finding: Finding) -> bool:
    known = json.loads(case.closure.snapshot_text)["sessions"]
    return finding.session_id in known


def _open(wanted: _Wanted, finding: Finding, earlier: int, actor: Actor) -> Case:
    key = f"{wanted.key};{earlier + 1}" if earlier else wanted.key
    try:
        with transaction.atomic():
            case = Case.objects.create(
                cause=wanted.cause,
                cause_key=key,
                title=wanted.title[:120],
                account=finding.reason,
                system=wanted.system,
                device=wanted.device,
                artefact_check=wanted.check,
            )
    except IntegrityError:
        # Another worker was first with the same cause: that case is the one.
        audit.nothing_changed()
        return Case.objects.get(cause_key=key)
    CaseWindow.objects.create(
        case=case,
        since=wanted.since,
        until=wanted.until,
        reason=wanted.window_reason,
    )
    _record(case, actor, finding=finding.pk)
    return case


def _wanted_by(finding: Finding) -> _Wanted | None:
    if finding.name != FindingName.SUSPECT.value:
        return None
    kind, pk = finding.cause.partition(":")[0], number_in(finding.cause)
    if pk is None:
        return None
    if kind == "check":
        return _of_check(pk)
    if kind == "task":
        return _of_check(SuspicionTask.objects.get(pk=pk).artefact_check_id)
    if kind == "finding":
        return _of_later(LaterFinding.objects.get(pk=pk))
    return None


def _of_check(pk: int) -> _Wanted:
    rows = ArtefactCheck.objects.select_related("system", "procedure__procedure")
    check = rows.get(pk=pk)
    window = suspicion_window(check)
    return _Wanted(
        key=f"check:{pk}",
        cause=Cause.CHECK,
        title=f"Check {pk} of {check.system} failed",
        since=window.start,
        until=window.end,
        window_reason=DEFAULT_WINDOW,
        system=check.system,
        check=check,
    )


def _of_later(row: LaterFinding) -> _Wanted | None:
    if CaseWindow.objects.filter(later_finding=row).exists():
        return None
    out = row.kind in (LaterFinding.Kind.OUT_OF_TOLERANCE, LaterFinding.Kind.MOVED)
    return _Wanted(
        key=f"finding:{row.pk}",
        cause=Cause.CALIBRATION if out else Cause.OTHER,
        title=str(row),
        since=row.since,
        until=row.until,
        window_reason=FOUND_WINDOW,
        system=row.system,
        device=row.device,
    )


def _record(case: Case, actor: Actor, **more: object) -> None:
    audit.record(
        "case.opened",
        case,
        actor=actor,
        after={"cause": case.cause, "title": case.title} | more,
    )
