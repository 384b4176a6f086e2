"""Runs of measuring of many sessions: segments cut at checks and breaks in them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from lab.metrology.bracketing.keyed import Axis, ranges
from lab.metrology.bracketing.records import InOrder, Records
from lab.metrology.bracketing.tables import ProcedureTable, SegmentTable

__all__ = ["Stretches"]

Integers = NDArray[np.int64]
Booleans = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Stretches:
    """One run of one segment for one procedure each.

    Attributes
    ----------
    segment, row : ndarray
        The segment and the procedure.
    start, end : ndarray
        Keys of the run.
    running : ndarray
        Whether it has not ended.
    last_pass, last_fail, last_break : ndarray
        Places of the last such record at or before the start.
    next_break : ndarray
        Place of the first break at or after the end.
    """

    segment: Integers
    row: Integers
    start: Integers
    end: Integers
    running: Booleans
    last_pass: Integers
    last_fail: Integers
    last_break: Integers
    next_break: Integers

    @classmethod
    def of(
        cls,
        axis: Axis,
        segments: SegmentTable,
        procedures: ProcedureTable,
        records: Records,
    ) -> tuple[Stretches, Stretches]:
        """Cut every segment for every procedure of its system.

        The first run of each stands in one part, in the order of the segments; what
        further runs there are, in the other.
        """
        segment, row = _pairs(segments, procedures)
        start = axis.key(row, segments.start[segment])
        end = axis.key(row, segments.end[segment])
        whole = cls._uncut(axis, records, segment, row, start, end)
        # The first record after the start tells whether any lies within.
        cut = (
            (records.passes.key[whole.last_pass + 1] < end)
            | (records.fails.key[whole.last_fail + 1] < end)
            | (records.breaks.key[whole.next_break] < end)
        )
        special = np.flatnonzero(cut | (start == end))
        owner, begun, stopped = _cut(whole, special, records)
        parts = cls._uncut(axis, records, segment[owner], row[owner], begun, stopped)
        parts = replace(parts, next_break=records.breaks.before(stopped) + 1)
        first = np.ones(len(owner), dtype=np.bool_)
        first[1:] = owner[1:] != owner[:-1]
        further = {}
        for name in cls.__slots__:
            part = getattr(parts, name)
            getattr(whole, name)[owner[first]] = part[first]
            further[name] = part[~first]
        return whole, cls(**further)

    @classmethod
    def joined(cls, parts: Sequence[Stretches]) -> Stretches:
        """Put several parts into one."""
        return cls(
            *(
                np.concatenate([getattr(part, name) for part in parts])
                for name in cls.__slots__
            )
        )

    @classmethod
    def _uncut(
        cls,
        axis: Axis,
        records: Records,
        segment: Integers,
        row: Integers,
        start: Integers,
        end: Integers,
    ) -> Stretches:
        """Look up what lies before runs; with no break within, the next is after."""
        last_break = records.breaks.up_to(start)
        return cls(
            segment=segment,
            row=row,
            start=start,
            end=end,
            running=end == axis.base(row) + axis.span - 1,
            last_pass=records.passes.up_to(start),
            last_fail=records.fails.up_to(start),
            last_break=last_break,
            next_break=last_break + 1,
        )


def _pairs(
    segments: SegmentTable, procedures: ProcedureTable
) -> tuple[Integers, Integers]:
    """Return each segment with each procedure of its system."""
    rows = np.argsort(procedures.system, kind="stable")
    systems = int(
        max(segments.system.max(initial=-1), procedures.system.max(initial=-1))
    )
    counts = np.bincount(procedures.system, minlength=systems + 1)
    firsts = np.cumsum(counts) - counts
    first = firsts[segments.system]
    if counts.min() == counts.max() == 1:
        return np.arange(len(first)), rows[first]
    place, owner = ranges(first, first + counts[segments.system])
    return owner, rows[place]


def _cut(
    whole: Stretches, special: Integers, records: Records
) -> tuple[Integers, Integers, Integers]:
    """Return the runs of some segments: whose each is, its start and its end."""
    start, end = whole.start[special], whole.end[special]
    owners, cuts, stops = [special], [end], [end]
    sources: list[tuple[InOrder, Integers, bool]] = [
        (records.passes, whole.last_pass, True),
        (records.fails, whole.last_fail, True),
        (records.breaks, whole.last_break, False),
    ]
    for source, last, measured in sources:
        place, which = ranges(last[special] + 1, source.before(end) + 1)
        key = source.key[place]
        owners.append(special[which])
        cuts.append(key)
        begun = source.other[place]
        inside = begun > start[which]
        stops.append(np.where(inside, begun, key) if measured else key)
    owner, cut, stop = (np.concatenate(each) for each in (owners, cuts, stops))
    order = np.lexsort((stop, cut, owner))
    owner, cut, stop = owner[order], cut[order], stop[order]
    begun = np.empty_like(cut)
    begun[1:] = cut[:-1]
    first = np.ones(len(owner), dtype=np.bool_)
    first[1:] = owner[1:] != owner[:-1]
    begun[first] = whole.start[owner[first]]
    real = (stop > begun) | (whole.start[owner] == whole.end[owner])
    return owner[real], begun[real], stop[real]
