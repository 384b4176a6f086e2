"""All sessions judged at once from all records, and compared with what is stored.

The sweep judges a session when something touches it. This form looks at everything:
it shows that nothing was missed, and after a change of the rules it finds what they
say now. It reads the records of a system once and judges thousands of sessions on
arrays (:func:`lab.metrology.bracketing.judge_all`).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime

from lab.checks.models import (
    MeasuringSystem,
    ProcedureRevision,
)
from lab.equipment.selectors import device_key
from lab.jobs.models import MeasuringSession
from lab.lapses.archive.chunks import Chunk
from lab.lapses.archive.records import House, Records
from lab.lapses.conditions import conditions_of
from lab.lapses.facts import (
    procedure_fact,
)
from lab.lapses.keys import cause_key, session_key, system_key
from lab.lapses.later import Around, facts_found_later
from lab.lapses.models import Finding, Judgement
from lab.metrology import bracketing
from lab.metrology.bracketing.facts import FOREVER, from_microseconds, microseconds
from lab.metrology.bracketing.tables import JudgementTable, Tabulated

#: How many sessions are judged together. The arrays hold ten thousand over 27 years.
CHUNK = 2_000
_NAMES = list(bracketing.FindingName)
_KINDS = list(bracketing.CauseKind)
_STATES = list(bracketing.State)


@dataclass(frozen=True, slots=True)
class Answer:
    """What all records say of one session: its state, what was found, and by what."""

    session: int
    state: bracketing.State
    findings: frozenset[tuple[bracketing.FindingName, str, str]]
    judge_again_at: datetime | None

    @property
    def cause_keys(self) -> frozenset[str]:
        """Return the keys under which the findings and their holds are stored."""
        return frozenset(
            cause_key(self.session, str(name), cause, procedure)
            for name, cause, procedure in self.findings
        )

    @property
    def word(self) -> str:
        worst = min(
            (name for name, _, _ in self.findings),
            key=lambda name: name.rank,
            default=None,
        )
        return str(self.state if worst is None else worst)


@dataclass(frozen=True, slots=True)
class Difference:
    """A session of which something else is stored than what the records say now.

    A finding that is stored and no longer found is no difference: findings are never
    taken back.
    """

    session: int
    missing: frozenset[str]
    stored: str
    found: str


def judge_archive(now: datetime) -> Iterator[Answer]:
    """Judge every session of every system from all records."""
    house = House.read()
    for system in MeasuringSystem.objects.order_by("pk"):
        records = Records.of(system)
        rows = system.sessions.select_related("system", "job", "room").order_by("pk")
        last = 0
        while chunk := list(rows.filter(pk__gt=last)[:CHUNK]):
            last = chunk[-1].pk
            yield from _judged(records, house, chunk, now)


def differences(now: datetime) -> Iterator[Difference]:
    """Return where the stored judgements differ from what all records say."""
    chunk: list[Answer] = []
    for answer in judge_archive(now):
        chunk.append(answer)
        if len(chunk) == CHUNK:
            yield from _compared(chunk)
            chunk = []
    yield from _compared(chunk)


def _compared(answers: Sequence[Answer]) -> Iterator[Difference]:
    keys = [answer.session for answer in answers]
    stored: dict[int, set[str]] = {key: set() for key in keys}
    found = Finding.objects.filter(session__in=keys)
    for session, key in found.order_by().values_list("session", "cause_key"):
        stored[session].add(key)
    judged = dict(
        Judgement.objects.filter(session__in=keys)
        .order_by()
        .values_list("session", "state")
    )
    for answer in answers:
        missing = answer.cause_keys - stored[answer.session]
        state = judged.get(answer.session, "not judged")
        if missing or state != answer.state:
            yield Difference(
                answer.session, frozenset(missing), state, str(answer.state)
            )


def _judged(
    records: Records,
    house: House,
    sessions: Sequence[MeasuringSession],
    now: datetime,
) -> Iterator[Answer]:
    chunk = Chunk.of(sessions)
    alike: dict[
        tuple[ProcedureRevision, ...],
        tuple[list[bracketing.Session], list[bracketing.LaterFinding]],
    ] = {}
    for session in sessions:
        if session.pk not in chunk.segments:
            continue
        revisions = records.revisions_at(session)
        facts, later = alike.setdefault(revisions, ([], []))
        around = _around(records, house, chunk, session, revisions)
        facts.append(
            bracketing.Session(
                key=around.session,
                system=system_key(session.system_id),
                segments=around.segments,
                chain=tuple(device_key(pk) for pk in sorted(around.chain)),
            )
        )
        later += _later(house, chunk, session, around)
    for revisions, (facts, later) in alike.items():
        tables = bracketing.tabulate(
            facts,
            {system_key(records.system.pk): [procedure_fact(one) for one in revisions]},
            records.checks,
            records.breaks,
            house.spans,
            later,
        )
        yield from _answers(tables, bracketing.judge_all(tables, microseconds(now)))


def _around(
    records: Records,
    house: House,
    chunk: Chunk,
    session: MeasuringSession,
    revisions: Sequence[ProcedureRevision],
) -> Around:
    kinds = frozenset(revision.procedure_id for revision in revisions)
    return Around(
        session=session_key(session.pk),
        segments=chunk.segments[session.pk],
        chain=chunk.chain(session, revisions),
        system=session.system_id,
        procedures=kinds,
        checks=[
            check
            for kind in kinds & records.passes.keys()
            for check in records.passes[kind].around(session)
        ],
        spans=house.spans,
    )


def _later(
    house: House, chunk: Chunk, session: MeasuringSession, around: Around
) -> list[bracketing.LaterFinding]:
    found = facts_found_later(around, house.later, chunk.affected.get(session.pk, ()))
    found += chunk.authority.get(session.pk, ())
    if session.room_id in house.watched_rooms:
        found += conditions_of(session, around.segments, around.session)
    return found


def _answers(tables: Tabulated, table: JudgementTable) -> Iterator[Answer]:
    keys = {
        bracketing.CauseKind.CHECK: tables.check_keys,
        bracketing.CauseKind.BREAK: tables.break_keys,
        bracketing.CauseKind.ITEM: tables.item_keys,
        bracketing.CauseKind.FINDING: tables.later_finding_keys,
        bracketing.CauseKind.PROCEDURE: tables.procedure_keys,
        bracketing.CauseKind.SYSTEM: tables.system_keys,
    }
    rows = table.findings
    found: dict[int, set[tuple[bracketing.FindingName, str, str]]] = {}
    for row, session in enumerate(rows.session.tolist()):
        procedure = int(rows.procedure[row])
        found.setdefault(session, set()).add(
            (
                _NAMES[rows.name[row]],
                keys[_KINDS[rows.cause_kind[row]]][rows.cause[row]],
                "" if procedure < 0 else tables.procedure_keys[procedure],
            )
        )
    again = table.judge_again_at.tolist()
    states = table.state.tolist()
    for number, key in enumerate(tables.session_keys):
        yield Answer(
            int(key.partition(":")[2]),
            _STATES[states[number]],
            frozenset(found.get(number, ())),
            None if again[number] == FOREVER else from_microseconds(again[number]),
        )
