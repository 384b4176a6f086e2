"""Checks and breaks of many systems in order, ready to be searched."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lab.metrology.bracketing.keyed import Axis, Spans, in_order, ranges
from lab.metrology.bracketing.tables import BreakTable, CheckTable, ProcedureTable

__all__ = ["AFTER_ALL", "InOrder", "Records"]

Integers = NDArray[np.int64]
Booleans = NDArray[np.bool_]

AFTER_ALL = 1 << 62
"""A key after every other."""


@dataclass(frozen=True, slots=True)
class InOrder:
    """Records sorted by key, framed by a first and a last that are none.

    Unless it is said otherwise, `number` is the record's row in its table.
    """

    key: Integers
    other: Integers
    number: Integers

    @classmethod
    def of(
        cls,
        key: Integers,
        other: Integers,
        number: Integers,
        *,
        by_number: bool = False,
    ) -> InOrder:
        """Sort by key and then by `other`, or by `number` before that."""
        order = in_order(key, number, other) if by_number else in_order(key, other)
        if order is not None:
            key, other, number = key[order], other[order], number[order]
        return cls(_framed(key), _framed(other), _framed(number))

    def up_to(self, keys: Integers) -> Integers:
        """Return the place of the last record at or before each key."""
        return np.searchsorted(self.key[1:-1], keys, side="right")

    def before(self, keys: Integers) -> Integers:
        """Return the place of the last record before each key."""
        return np.searchsorted(self.key[1:-1], keys, side="left")


def _framed(values: Integers) -> Integers:
    framed = np.empty(len(values) + 2, dtype=np.int64)
    framed[0], framed[-1] = -1, AFTER_ALL
    framed[1:-1] = values
    return framed


@dataclass(frozen=True, slots=True)
class Records:
    """What is searched.

    Attributes
    ----------
    passes, fails : InOrder
        By their ends; `other` is the start.
    starting : InOrder
        Every check by its start, a fail before a pass; `other` is the end, `number`
        is 1 for a pass.
    breaks : InOrder
        By their instants, once for each procedure of their system.
    suspected : Spans
        For each fail, from the start of the last pass before it to its own end; in
        the order of `fails`.
    """

    passes: InOrder
    fails: InOrder
    starting: InOrder
    breaks: InOrder
    suspected: Spans

    @classmethod
    def of(
        cls,
        axis: Axis,
        procedures: ProcedureTable,
        checks: CheckTable,
        breaks: BreakTable,
    ) -> Records:
        """Sort the records of some tables."""
        broken = _breaks_by_row(axis, procedures, breaks)
        start = axis.key(checks.procedure, checks.start)
        end = axis.key(checks.procedure, checks.end)
        passing = _unbroken(checks.passed, start, end, broken)
        failing = np.flatnonzero(~checks.passed)
        passed = np.flatnonzero(passing)
        passes = InOrder.of(end[passed], start[passed], passed)
        fails = InOrder.of(end[failing], start[failing], failing)
        if len(passed) + len(failing) < len(start):
            counting = passing | ~checks.passed
            start, end, passing = start[counting], end[counting], passing[counting]
        base = axis.base(checks.procedure[fails.number[1:-1]])
        low = _last_pass_before(passes, fails.other[1:-1], base)
        return cls(
            passes=passes,
            fails=fails,
            starting=InOrder.of(start, end, passing.astype(np.int64), by_number=True),
            breaks=broken,
            suspected=Spans.of(low, fails.key[1:-1], fails.number[1:-1]),
        )


def _unbroken(
    passed: Booleans, start: Integers, end: Integers, breaks: InOrder
) -> Booleans:
    """Return which checks are passes without a break in their midst."""
    instants = breaks.key[1:-1]
    if not len(instants):
        return passed
    spans = Spans.of(start, end, np.arange(len(start)))
    astride, _ = spans.touching(instants, instants)
    unbroken = passed.copy()
    unbroken[spans.number[astride]] = False
    return unbroken


def _breaks_by_row(
    axis: Axis, procedures: ProcedureTable, breaks: BreakTable
) -> InOrder:
    """Give every procedure of a system that system's breaks."""
    rows = np.argsort(procedures.system, kind="stable")
    systems = procedures.system[rows]
    place, owner = ranges(
        np.searchsorted(systems, breaks.system, side="left"),
        np.searchsorted(systems, breaks.system, side="right"),
    )
    key = axis.key(rows[place], breaks.at[owner])
    return InOrder.of(key, owner, owner)


def _last_pass_before(passes: InOrder, start: Integers, base: Integers) -> Integers:
    """Return the latest start of the passes over when each fail began.

    A pass without duration at the fail's own start instant is none of them.
    """
    ends, starts = passes.key[1:-1], passes.other[1:-1]
    without_duration = ends[ends == starts]
    at_start = np.searchsorted(without_duration, start, side="right") - np.searchsorted(
        without_duration, start, side="left"
    )
    latest = np.concatenate([[-1], np.maximum.accumulate(starts)])
    return np.asarray(np.maximum(latest[passes.up_to(start) - at_start], base))
