"""What was found out later, as facts for the lapse rules.

A later finding about a device covers what was measured with the device itself. It
covers as well what a check opened or closed, if the check leant on the device then:
its artefact, or the thermometer that told the artefact's temperature. And a check
whose thermometer had no current calibration takes its sessions with it.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from django.db.models import Q

from lab.checks.models import ArtefactCheck
from lab.equipment.selectors import device_key
from lab.lapses.keys import system_key
from lab.lapses.models import LaterFinding, TaskDecision
from lab.metrology import bracketing
from lab.metrology.bracketing import FindingName


@dataclass(frozen=True, slots=True)
class Around:
    """A session and what is around it, as far as a later finding may bear on it."""

    session: str
    segments: tuple[bracketing.Segment, ...]
    chain: frozenset[int]
    system: int
    procedures: frozenset[int]
    checks: Sequence[ArtefactCheck]
    spans: Sequence[bracketing.Calibration]

    @property
    def whole(self) -> tuple[datetime, datetime | None]:
        """Return from when until when it measured; no end while it runs."""
        ends = [one.end for one in self.segments]
        return min(one.start for one in self.segments), (
            None if None in ends else max(end for end in ends if end)
        )

    @property
    def bracketing_checks(self) -> Iterator[ArtefactCheck]:
        """Yield the passes of the needed procedures: they open and close it."""
        for check in self.checks:
            needed = check.procedure.procedure_id in self.procedures
            counts = not check.is_void and not check.awaits_confirmation
            if check.passed and needed and counts:
                yield check


def later_rows(around: Around) -> list[LaterFinding]:
    """Return the later findings that may bear on a session."""
    devices = set(around.chain)
    for check in around.checks:
        devices |= {check.thermometer_id, check.procedure.artefact_id}
    about = Q(device__in=devices) | Q(system=around.system)
    return list(LaterFinding.objects.filter(about).order_by("pk"))


def affected_tasks(sessions: Iterable[int]) -> list[tuple[int, int]]:
    """Return session and task of each that a person decided to be affected."""
    rows = TaskDecision.objects.filter(
        outcome=TaskDecision.Outcome.AFFECTED, task__session__in=list(sessions)
    )
    return list(rows.order_by("task").values_list("task__session", "task"))


def facts_found_later(
    around: Around,
    rows: Iterable[LaterFinding],
    tasks: Iterable[tuple[int, int]],
) -> list[bracketing.LaterFinding]:
    """Return what the lapse rules are told of a session beside its own checks."""
    facts: list[bracketing.LaterFinding] = []
    for row in rows:
        facts += _of_row(around, row)
    facts += [_over(around, f"task:{task}") for _, task in tasks]
    return facts + _of_thermometers(around)


def _of_row(around: Around, row: LaterFinding) -> list[bracketing.LaterFinding]:
    key = f"finding:{row.pk}"
    facts = []
    if row.system_id == around.system or row.device_id in around.chain:
        about = (
            system_key(row.system_id)
            if row.system_id is not None
            else device_key(row.device_id or 0)
        )
        facts.append(bracketing.LaterFinding(key, about, row.since, row.until))
    if any(_leant_on(check, row) for check in around.bracketing_checks):
        facts.append(_over(around, key))
    return facts


def _leant_on(check: ArtefactCheck, row: LaterFinding) -> bool:
    """Tell whether a check used the device of a later finding in its time."""
    used = {check.thermometer_id, check.procedure.artefact_id}
    if row.device_id not in used:
        return False
    return row.since <= check.ended_at and check.started_at < row.until


def _of_thermometers(around: Around) -> list[bracketing.LaterFinding]:
    current = _by_item(around.spans)
    return [
        _over(
            around,
            f"device:{check.thermometer_id}:check:{check.pk}",
            FindingName.CALIBRATION,
        )
        for check in around.bracketing_checks
        if not _covered(check, current.get(device_key(check.thermometer_id), ()))
    ]


def _by_item(
    spans: Iterable[bracketing.Calibration],
) -> Mapping[str, list[bracketing.Calibration]]:
    found: dict[str, list[bracketing.Calibration]] = {}
    for span in spans:
        found.setdefault(span.item, []).append(span)
    return found


def _covered(check: ArtefactCheck, spans: Iterable[bracketing.Calibration]) -> bool:
    """Tell whether a calibration was current at both ends of a check.

    A check is minutes long: between two calibrations there is no gap so short.
    """
    return all(
        any(span.start <= at and (span.end is None or at < span.end) for span in spans)
        for at in (check.started_at, check.ended_at)
    )


def _over(
    around: Around, key: str, name: FindingName = FindingName.SUSPECT
) -> bracketing.LaterFinding:
    """Return a finding about the whole session."""
    start, end = around.whole
    return bracketing.LaterFinding(key, around.session, start, end, name)
