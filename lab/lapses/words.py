"""What was found, said so that the reader knows what it is about and what to do."""

from __future__ import annotations

from django.utils import timezone

from lab.accounts.models import User
from lab.checks.models import ArtefactCheck, Break, CheckProcedure
from lab.environment.models import Excursion
from lab.equipment.models import Device
from lab.jobs.models import MeasuringSession
from lab.laboratory.models import Method
from lab.lapses.keys import number_in
from lab.lapses.models import LaterFinding, SuspicionTask
from lab.metrology.bracketing import CauseKind, Finding, FindingName

TITLES = {
    FindingName.SUSPECT: "Suspect",
    FindingName.CALIBRATION: "Calibration not current",
    FindingName.UNCHECKED: "Unchecked",
    FindingName.LAPSED: "Lapsed",
    FindingName.UNCLOSED: "Unclosed",
    FindingName.CONDITIONS: "Conditions",
    FindingName.FRAME: "Frame",
    FindingName.FIXTURE: "Fixture",
    FindingName.AUTHORISATION: "Authorisation",
}


def title_of(finding: Finding, session: MeasuringSession) -> str:
    return f"{TITLES[finding.name]}: session {session.pk} with {session.system}"


def reason_of(finding: Finding) -> str:
    """Return a finding in a sentence or two, with what the next check said."""
    about = _about(finding)
    sentences = {
        FindingName.SUSPECT: _suspect(finding, about),
        FindingName.CALIBRATION: f"The calibration of {about} was not current.",
        FindingName.UNCHECKED: f"No passing check was valid when measuring began: "
        f"{about}.",
        FindingName.LAPSED: f"The check ran out before it was closed: {about}.",
        FindingName.AUTHORISATION: f"{about} for the whole of it.",
        FindingName.CONDITIONS: _air(finding),
        FindingName.UNCLOSED: f"{about} lies between the measuring and its next check.",
    }
    said = sentences.get(finding.name, f"Found on {about}.")
    return f"{said}{_next_check(finding)}"


def _air(finding: Finding) -> str:
    """Say which limit of the air was passed, or that nothing was read."""
    kind = finding.cause.key.rpartition(":")[2]
    if kind == Excursion.Kind.GAP:
        return "Readings of the room are missing for longer than allowed."
    names = dict(Excursion.Kind.choices)
    about = str(names.get(kind, "the air")).lower()
    return f"The room was outside its limits while it was measured: {about}."


def _next_check(finding: Finding) -> str:
    if finding.next_passed is None or finding.name is FindingName.SUSPECT:
        return ""
    verdict = "passed" if finding.next_passed else "failed"
    return f" The check that came next {verdict}."


def _suspect(finding: Finding, about: str) -> str:
    if finding.cause.kind is CauseKind.CHECK:
        return (
            f"{about} failed. Everything since the last pass is in question until "
            "somebody shows that it stands."
        )
    return f"{about} It is in question until somebody shows that it stands."


def _about(finding: Finding) -> str:
    key = finding.cause.key
    kind, pk = key.partition(":")[0], number_in(key)
    if kind == "conditions":
        return f"{Excursion.Kind(key.partition(':')[2]).label.lower()}"
    if pk is None:
        return key
    if finding.cause.kind is CauseKind.FINDING:
        return _found_later(kind, key, pk)
    if finding.cause.kind is CauseKind.CHECK:
        return _check_in_words(pk)
    if finding.cause.kind is CauseKind.BREAK:
        found = Break.objects.get(pk=pk)
        return f"{found.get_kind_display()} at {_time(found.at)}"
    if kind == "device":
        return str(Device.objects.get(pk=pk))
    if kind == "procedure":
        return f"there is no check by {CheckProcedure.objects.get(pk=pk)}"
    return "no check procedure is set up for the system"


def _found_later(kind: str, key: str, pk: int) -> str:
    if kind == "finding":
        row = LaterFinding.objects.get(pk=pk)
        period = f"{_time(row.since)} to {_time(row.until)}"
        return f"{row.about}, {row.get_kind_display().lower()}, {period}: {row.reason}"
    if kind == "task":
        task = SuspicionTask.objects.select_related("decision").get(pk=pk)
        return (
            f"Check {task.artefact_check_id} of another system failed, with "
            f"{task.shared} in common: {task.decision.reason}"
        )
    if kind == "device":
        meter = Device.objects.get(pk=int(key.split(":")[1]))
        return f"{meter}, the thermometer of {_check_in_words(pk)},"
    person = User.objects.get(pk=int(key.split(":")[1]))
    return f"{person} was not authorised to measure by {Method.objects.get(pk=pk)}"


def _check_in_words(pk: int) -> str:
    check = ArtefactCheck.objects.select_related("procedure__procedure").get(pk=pk)
    return f"check {pk} ({check.procedure.procedure.code}) of {_time(check.started_at)}"


def _time(instant: object) -> str:
    there = instant.astimezone(timezone.get_current_timezone())  # type: ignore[attr-defined]
    return f"{there:%Y-%m-%d %H:%M}"
