"""What bracketing answers: findings, the state of a session, when to ask again."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum

__all__ = [
    "Cause",
    "CauseKind",
    "Finding",
    "FindingName",
    "Judgement",
    "ProcedureState",
    "State",
    "worst_first",
]


class FindingName(StrEnum):
    """What may be wrong with a session, the worst first."""

    SUSPECT = "suspect"
    CALIBRATION = "calibration not current"
    UNCHECKED = "unchecked"
    LAPSED = "lapsed"
    UNCLOSED = "unclosed"
    CONDITIONS = "conditions"
    FRAME = "frame"
    FIXTURE = "fixture"
    AUTHORISATION = "authorisation"

    @property
    def rank(self) -> int:
        """Return its place in the order of display, 0 for the worst."""
        return _RANKS[self]


_RANKS = {name: rank for rank, name in enumerate(FindingName)}


class State(StrEnum):
    """How far a session is bracketed, whatever else was found.

    A session is open while a closing check is still to come, and as long as it
    runs. It is not bracketed when a pass is missing on one side or a break lies
    between, and nothing is waited for any more.
    """

    OPEN = "open"
    NOT_BRACKETED = "not bracketed"
    CHECKED_AT_START_ONLY = "checked at start only"
    BRACKETED = "bracketed"


class CauseKind(StrEnum):
    """What kind of record raised a finding."""

    CHECK = "check"
    BREAK = "break"
    ITEM = "item"
    FINDING = "finding"
    PROCEDURE = "procedure"
    SYSTEM = "system"


@dataclass(frozen=True, slots=True)
class Cause:
    """The record that raised a finding.

    A check that failed, or whose validity was over; a break; an item without a
    current calibration; a later finding. A procedure of which there is no check,
    and a system for which there is no procedure, are causes as well.
    """

    kind: CauseKind
    key: str


@dataclass(frozen=True, slots=True)
class Finding:
    """One reason why a session may not be relied on as it stands.

    Attributes
    ----------
    name : FindingName
        What was found.
    cause : Cause
        The record that raised it; with `name` and `procedure` it identifies the
        finding on its session.
    procedure : str
        The check procedure concerned; empty where none is.
    start, end : datetime
        The part of the session concerned; an `end` of None while it runs.
    next_check : str
        The check of that procedure that followed the part concerned; empty if none.
    next_passed : bool or None
        What that check said; None if there is none.
    """

    name: FindingName
    cause: Cause
    procedure: str
    start: datetime
    end: datetime | None
    next_check: str = ""
    next_passed: bool | None = None


@dataclass(frozen=True, slots=True)
class ProcedureState:
    """How far a session is bracketed by the checks of one procedure."""

    procedure: str
    state: State


@dataclass(frozen=True, slots=True)
class Judgement:
    """What is to be said of one session.

    Attributes
    ----------
    session : str
        The session judged.
    findings : tuple of Finding
        A set: each raises its own hold. The worst stands first.
    state : State
        How far it is bracketed by all its procedures together.
    procedures : tuple of ProcedureState
        The same for each procedure.
    judge_again_at : datetime or None
        The first instant at which passing time alone changes this answer; None if
        only an event can.
    """

    session: str
    findings: tuple[Finding, ...]
    state: State
    procedures: tuple[ProcedureState, ...]
    judge_again_at: datetime | None

    @property
    def names(self) -> frozenset[FindingName]:
        """Return the names of the findings."""
        return frozenset(finding.name for finding in self.findings)

    @property
    def word(self) -> str:
        """Return the word for display: the worst finding, or else the state."""
        return str(self.findings[0].name if self.findings else self.state)

    @property
    def blocks_issue(self) -> bool:
        """Say whether this answer, uncleared, keeps a certificate from being issued."""
        return bool(self.findings) or self.state is State.OPEN


def worst_first(findings: Iterable[Finding]) -> tuple[Finding, ...]:
    """Return findings in the order of display.

    Parameters
    ----------
    findings : iterable of Finding
        In any order.

    Returns
    -------
    tuple of Finding
        The worst first; equals by time, procedure and cause.
    """
    return tuple(
        sorted(
            findings,
            key=lambda each: (
                each.name.rank,
                each.start,
                each.procedure,
                each.cause.kind,
                each.cause.key,
            ),
        )
    )
