"""What the lapse rules would say if a check had failed, or a device had been wrong.

The facts of each session are read as they are, one of them is supposed to be
otherwise, and the pure rules judge again. No record is touched.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime

from lab.checks.models import ArtefactCheck
from lab.common import clock
from lab.equipment.models import Device
from lab.equipment.selectors import device_key
from lab.evidence.impact.leaning import Leaning
from lab.jobs.models import MeasuringSession
from lab.lapses.facts import Facts, checks_around, facts_of
from lab.lapses.words import TITLES
from lab.metrology import bracketing

SUPPOSED = "supposed"


@dataclass(frozen=True, slots=True)
class Consequence:
    """What would be found on a session beside what the rules say of it today."""

    session: MeasuringSession
    before: str
    after: str
    added: tuple[str, ...]

    @property
    def shape(self) -> str:
        return "state-bad" if self.added else "state-good"


def if_check_failed(check: ArtefactCheck, leaning: Leaning) -> list[Consequence]:
    """Return what would follow for each session if a check had failed."""
    key = f"check:{check.pk}"

    def failed(facts: Facts, session: MeasuringSession) -> Facts:
        checks = [
            replace(one, passed=False) if one.key == key else one
            for one in facts.checks
        ]
        return replace(facts, checks=checks)

    return _consequences(leaning.sessions, failed)


def if_device_was_wrong(
    device: Device, start: datetime, end: datetime, leaning: Leaning
) -> list[Consequence]:
    """Return what would follow if a device had not measured right for a time.

    What it measured in that time is in question, and so is every session that a
    check opened or closed which leant on the device then.
    """

    def wrong(facts: Facts, session: MeasuringSession) -> Facts:
        key = device_key(device.pk)
        supposed = [bracketing.LaterFinding(SUPPOSED, key, start, end)]
        if any(_leant(one, device, start, end) for one in checks_around(session)):
            segments = facts.session.segments
            supposed.append(
                bracketing.LaterFinding(
                    SUPPOSED, facts.session.key, segments[0].start, segments[-1].end
                )
            )
        return replace(facts, later=[*facts.later, *supposed])

    return _consequences(leaning.sessions, wrong)


def _leant(
    check: ArtefactCheck, device: Device, start: datetime, end: datetime
) -> bool:
    used = {check.thermometer_id, check.procedure.artefact_id}
    counts = check.passed and not check.is_void and not check.awaits_confirmation
    return (
        device.pk in used
        and counts
        and start <= check.ended_at
        and check.started_at < end
    )


def _consequences(
    sessions: Sequence[MeasuringSession],
    supposed: Callable[[Facts, MeasuringSession], Facts],
) -> list[Consequence]:
    now = clock.now()
    found = []
    for session in sessions:
        facts = facts_of(session)
        if facts is None:
            continue
        before = facts.judged(now)
        after = supposed(facts, session).judged(now)
        known = {_name(one) for one in before.findings}
        added = [one for one in after.findings if _name(one) not in known]
        words = tuple(dict.fromkeys(TITLES[one.name] for one in added))
        found.append(Consequence(session, before.word, after.word, words))
    return found


def _name(finding: bracketing.Finding) -> tuple[object, ...]:
    return finding.name, finding.cause, finding.procedure
