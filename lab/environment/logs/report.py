"""What was left out of a file, and why: every row counted, the first ones named."""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any, Final

from lab.common.jsontext import canonical_text

#: How many findings of each kind are named; the counts cover all of them.
NAMED: Final = 400

#: Each kind in words, and whether its reading (or row) was left out.
KINDS: Final[dict[str, tuple[str, bool]]] = {
    "ragged": ("The row has another number of columns than the others", True),
    "blank": ("The row is empty", False),
    "time": ("The time can't be read", True),
    "ambiguous": ("The clock showed this time twice: it was set back that night", True),
    "skipped": ("The clock never showed this time: it was set forward", True),
    "future": ("The time lies in the future", True),
    "unset": ("The time is before 2001: the logger's clock was not set", True),
    "backward": ("The clock went back: this row is earlier than the one before", False),
    "missing": ("The cell is empty", True),
    "nan": ("The cell says that there is no number", True),
    "number": ("The number can't be read", True),
    "range": ("No air is like that", True),
    "repeated": ("The same reading stands in the file twice; it counts once", False),
    "known": ("The same reading was stored earlier", False),
    "conflict": ("Another value is kept for that instant; this one was refused", True),
}


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing about one row, counted from 1 as an editor shows it."""

    row: int
    kind: str
    column: str
    text: str

    @property
    def words(self) -> str:
        return KINDS[self.kind][0]


@dataclass(slots=True)
class Report:
    """What is found while a file is read."""

    counts: Counter[str] = field(default_factory=Counter)
    findings: list[Finding] = field(default_factory=list)
    rows: int = 0
    cells: int = 0
    steps: Counter[int] = field(default_factory=Counter)
    named: Counter[str] = field(default_factory=Counter)

    def add(self, kind: str, row: int, column: str = "", text: str = "") -> None:
        """Count a finding, and name it while there are few of its kind."""
        self.counts[kind] += 1
        if self.named[kind] < NAMED:
            self.named[kind] += 1
            self.findings.append(Finding(row, kind, column, text[:80]))

    def add_many(
        self, kind: str, rows: Iterable[int], column: str, texts: Iterable[str]
    ) -> None:
        for row, text in zip(rows, texts, strict=True):
            self.add(kind, row, column, text)

    @property
    def left_out(self) -> int:
        """How many findings left something out."""
        return sum(n for kind, n in self.counts.items() if KINDS[kind][1])

    def to_text(self) -> str:
        rhythm = rhythm_of(self.steps)
        return canonical_text(
            {
                "counts": dict(self.counts),
                "findings": [
                    [one.row, one.kind, one.column, one.text]
                    for one in sorted(self.findings, key=lambda one: one.row)
                ],
                "rows": self.rows,
                "cells": self.cells,
                "rhythm": rhythm,
            }
        )


#: Steps longer than so many usual ones are gaps; within a tenth of the usual one a
#: step counts as regular (common practice, no source).
GAP_STEPS: Final = 3
REGULAR: Final = 0.1


def rhythm_of(steps: Counter[int]) -> dict[str, Any]:
    """Return the usual step between rows and how far the others are from it.

    `steps` counts steps in tenths of a second. All results are in seconds, as texts.
    """
    ahead = {step: n for step, n in steps.items() if step > 0}
    if not ahead:
        return {}
    usual = max(ahead, key=lambda step: (ahead[step], -step))
    near = [s for s in ahead if s != usual and abs(s - usual) <= REGULAR * usual]
    gaps = {s: n for s, n in ahead.items() if s > GAP_STEPS * usual}
    uneven = sum(n for s, n in ahead.items() if abs(s - usual) > REGULAR * usual)
    return {
        "usual_s": seconds(usual),
        "jitter_s": seconds(max((abs(s - usual) for s in near), default=0)),
        "jittery": sum(ahead[s] for s in near),
        "uneven": uneven,
        "gaps": sum(gaps.values()),
        "longest_gap_s": seconds(max(gaps, default=0)),
    }


def seconds(tenths: int) -> str:
    return f"{tenths / 10:g}" if tenths < 10_000_000 else f"{tenths // 10}"


@dataclass(frozen=True, slots=True)
class Told:
    """A report as it is kept and shown."""

    counts: dict[str, int]
    findings: tuple[Finding, ...]
    rows: int
    cells: int
    rhythm: dict[str, Any]

    @property
    def lines(self) -> list[tuple[str, int, bool]]:
        """What was found in words, how often, and whether it left something out."""
        return [
            (KINDS[kind][0], self.counts[kind], KINDS[kind][1])
            for kind in KINDS
            if self.counts.get(kind)
        ]

    @property
    def named_fewer(self) -> bool:
        return len(self.findings) < sum(self.counts.values())


def told_from(text: str) -> Told:
    """Return the report that `Report.to_text` wrote."""
    fields = json.loads(text)
    findings = tuple(Finding(*one) for one in fields["findings"])
    return Told(
        counts=fields["counts"],
        findings=findings,
        rows=fields["rows"],
        cells=fields["cells"],
        rhythm=fields["rhythm"],
    )
