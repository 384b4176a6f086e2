"""Findings of many sessions, gathered rule by rule and merged at the end."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from lab.metrology.bracketing.facts import FOREVER
from lab.metrology.bracketing.results import CauseKind, FindingName
from lab.metrology.bracketing.tables import FindingTable

__all__ = ["KINDS", "Collected"]

Integers = NDArray[np.int64]

KINDS = {kind: number for number, kind in enumerate(CauseKind)}
"""The number that stands for a kind of cause."""


@dataclass(slots=True)
class Collected:
    """Findings in columns, and when each session must be judged again."""

    judge_again_at: Integers
    columns: list[tuple[Integers, ...]] = field(default_factory=list)

    @classmethod
    def for_sessions(cls, count: int) -> Collected:
        """Begin with nothing found on so many sessions."""
        return cls(np.full(count, FOREVER, dtype=np.int64))

    def add(
        self,
        session: Integers,
        name: FindingName | Integers,
        cause: tuple[Integers | CauseKind, Integers],
        procedure: Integers | int,
        span: tuple[Integers, Integers],
    ) -> None:
        """Note findings, one a row."""
        if not len(session):
            return
        kind = cause[0]
        columns = (
            session,
            np.asarray(name.rank if isinstance(name, FindingName) else name),
            np.asarray(KINDS[kind] if isinstance(kind, CauseKind) else kind),
            cause[1],
            np.asarray(procedure),
            *span,
        )
        self.columns.append(
            tuple(np.broadcast_to(each, session.shape) for each in columns)
        )

    def wait(self, session: Integers, instant: Integers) -> None:
        """Note that an answer changes once an instant is over."""
        np.minimum.at(self.judge_again_at, session, instant + 1)

    def merged(self) -> FindingTable:
        """Return one row for each finding, over all parts of the session concerned."""
        if not self.columns:
            return FindingTable(*(np.empty(0, dtype=np.int64) for _ in range(7)))
        table = [np.concatenate(each) for each in zip(*self.columns, strict=True)]
        order = np.lexsort(tuple(reversed(table[:5])))
        table = [column[order] for column in table]
        first = np.ones(len(order), dtype=np.bool_)
        first[1:] = np.any([column[1:] != column[:-1] for column in table[:5]], axis=0)
        heads = np.flatnonzero(first)
        session, name, kind, cause, procedure = (column[heads] for column in table[:5])
        return FindingTable(
            session=session,
            name=name,
            cause_kind=kind,
            cause=cause,
            procedure=procedure,
            start=np.minimum.reduceat(table[5], heads),
            end=np.maximum.reduceat(table[6], heads),
        )
