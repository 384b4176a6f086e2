"""Calibrations and later findings of many sessions: spans of time about items."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lab.metrology.bracketing.collected import Collected
from lab.metrology.bracketing.facts import FOREVER
from lab.metrology.bracketing.keyed import Axis, Spans, in_order, ranges
from lab.metrology.bracketing.results import CauseKind, FindingName
from lab.metrology.bracketing.tables import CalibrationTable, Tabulated

__all__ = ["judge_spans"]

Integers = NDArray[np.int64]


def judge_spans(tables: Tabulated, now: int, collected: Collected) -> None:
    """Note what calibrations and later findings say of every session.

    Parameters
    ----------
    tables : Tabulated
        Sessions and everything known about them.
    now : int
        The present, in microseconds.
    collected : Collected
        Where findings are added.
    """
    segments, involved = tables.segments, tables.involved
    later, made = tables.later_findings, tables.calibrations
    if not len(involved.item):
        return
    instants = (
        *(segments.start, segments.end, later.start, later.end, made.start, made.end),
        np.array([now]),
    )
    items = int(involved.item.max()) + 1
    axis = Axis.over(items, *instants)
    order = np.argsort(involved.session, kind="stable")
    sessions = involved.session[order]
    place, segment = ranges(
        np.searchsorted(sessions, segments.session, side="left"),
        np.searchsorted(sessions, segments.session, side="right"),
    )
    pair = order[place]
    needed = involved.calibrated[pair]
    low, high, item = _gaps(axis, items, made)
    _over(
        tables,
        axis,
        now,
        collected,
        (segment[needed], involved.item[pair][needed]),
        (low, high),
        (np.full(len(item), FindingName.CALIBRATION.rank), CauseKind.ITEM, item),
    )
    real = later.start < later.end
    _over(
        tables,
        axis,
        now,
        collected,
        (segment, involved.item[pair]),
        (
            axis.key(later.item, later.start)[real],
            axis.key(later.item, later.end)[real],
        ),
        (later.name[real], CauseKind.FINDING, np.flatnonzero(real)),
    )


def _gaps(
    axis: Axis, items: int, made: CalibrationTable
) -> tuple[Integers, Integers, Integers]:
    """Return the spans in which items were not current: start, end and item."""
    start, end = axis.key(made.item, made.start), axis.key(made.item, made.end)
    order = in_order(start, end)
    item = made.item
    if order is not None:
        start, end, item = start[order], end[order], item[order]
    covered = np.concatenate([[0], np.maximum.accumulate(end)])
    every = np.arange(items)
    counts = np.searchsorted(start, axis.base(every + 1), side="left")
    low = np.concatenate(
        [
            np.maximum(covered[:-1], axis.base(item)),
            np.maximum(covered[counts], axis.base(every)),
        ]
    )
    high = np.concatenate([start, axis.key(every, np.full(items, FOREVER))])
    owner = np.concatenate([item, every])
    real = low < high
    return low[real], high[real], owner[real]


def _over(
    tables: Tabulated,
    axis: Axis,
    now: int,
    collected: Collected,
    pairs: tuple[Integers, Integers],
    span: tuple[Integers, Integers],
    meaning: tuple[Integers, CauseKind, Integers],
) -> None:
    """Note findings on every part of a session that a span about its items covers."""
    segment, item = pairs
    session = tables.segments.session[segment]
    start = axis.key(item, tables.segments.start[segment])
    end = axis.key(item, tables.segments.end[segment])
    running = tables.segments.end[segment] == FOREVER
    present = np.maximum(axis.key(item, np.full(len(item), now)), start)
    measured_until = np.where(running, present, end)
    spans = Spans.of(*span, np.arange(len(span[0])))
    found, owner = spans.touching(start, measured_until, at_first=True)
    number = spans.number[found]
    row = item[owner]
    collected.add(
        session[owner],
        meaning[0][number],
        (meaning[1], meaning[2][number]),
        -1,
        (
            axis.instant(row, np.maximum(start[owner], spans.low[found])),
            axis.instant(row, np.minimum(end[owner], spans.high[found])),
        ),
    )
    # What begins later changes the answer of a session that still runs by then. A
    # span that begins as the segment does is noted already.
    beginning = measured_until + (measured_until == start)
    lows = np.sort(spans.low)
    following = np.searchsorted(lows, beginning, side="left")
    lows = np.concatenate([lows, [1 << 62]])[following]
    waits = np.flatnonzero(running & (lows < end))
    collected.wait(session[waits], axis.instant(item[waits], lows[waits]))
