"""Readings as a logger left them, and the windows that questions are asked about.

Loggers repeat themselves, send late, lose hours and change their step. Here the
readings are put into the order of time, repeats of one reading are dropped and
counted, and readings that contradict each other at one instant are replaced by
their mean and named, with the widest contradiction. Nothing else is touched:
values that aren't finite are refused, since a fault is no temperature.

Between two readings the quantity is taken to go straight, as long as they are no
farther apart than a stated step. Anything longer is a gap, and nothing is known
in a gap.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lab.metrology.arrays import finite, positive, same_length, vector
from lab.metrology.errors import OutOfDomain, TooFew

__all__ = [
    "Gap",
    "OrderedReadings",
    "Pieces",
    "Readings",
    "Window",
    "gaps_in",
    "ordered_readings",
    "straight_pieces",
]

_Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Readings:
    """Readings in the order of time: `times_s` rises strictly, in s since any origin.

    `values` are °C, % or what the sensor measures.
    """

    times_s: _Array
    values: _Array

    def __post_init__(self) -> None:
        """Refuse what `ordered_readings` would have had to put in order."""
        times = vector("times_s", self.times_s, minimum=0)
        values = vector("values", self.values, minimum=0)
        same_length(times_s=times, values=values)
        if np.any(np.diff(times) <= 0.0):
            raise OutOfDomain(
                "times_s does not rise strictly; pass the readings through "
                "ordered_readings first."
            )
        object.__setattr__(self, "times_s", times)
        object.__setattr__(self, "values", values)


@dataclass(frozen=True, slots=True, eq=False)
class OrderedReadings:
    """Readings in order, and what had to be done to get there.

    `repeated` counts readings dropped because the same one was there already;
    `conflicting_times_s` are instants with different values, which were averaged,
    and `widest_conflict` the largest difference among them.
    """

    readings: Readings
    out_of_order: int
    repeated: int
    conflicting_times_s: _Array
    widest_conflict: float


@dataclass(frozen=True, slots=True)
class Window:
    """A stretch of time, half-open: start included, end not."""

    start_s: float
    end_s: float

    def __post_init__(self) -> None:
        """Refuse empty windows."""
        start, end = finite("start_s", self.start_s), finite("end_s", self.end_s)
        if start >= end:
            raise OutOfDomain(
                f"The window from {start:g} to {end:g} s is empty or upside down."
            )

    @property
    def length_s(self) -> float:
        """Its length."""
        return self.end_s - self.start_s


@dataclass(frozen=True, slots=True)
class Gap:
    """A stretch of a window of which nothing is known.

    `is_too_long` is False for the odd seconds between the edge of a window and
    the nearest reading, where those are within the permitted step.
    """

    start_s: float
    end_s: float
    is_too_long: bool

    @property
    def length_s(self) -> float:
        """Its length."""
        return self.end_s - self.start_s


@dataclass(frozen=True, slots=True, eq=False)
class Pieces:
    """Straight pieces of a series inside windows, in the order of time.

    Piece i goes from (`starts_s[i]`, `first[i]`) to (`ends_s[i]`, `last[i]`); a
    reading that stands alone between two gaps is a piece of no length.
    """

    starts_s: _Array
    ends_s: _Array
    first: _Array
    last: _Array

    @property
    def lengths_s(self) -> _Array:
        """Their lengths."""
        return self.ends_s - self.starts_s


def ordered_readings(times_s: ArrayLike, values: ArrayLike) -> OrderedReadings:
    """Put readings into the order of time and say what that took.

    Parameters
    ----------
    times_s : array_like, shape (N,)
        In s since any origin, in any order, with repeats.
    values : array_like, shape (N,)
        Finite.

    Returns
    -------
    ordered : OrderedReadings

    Raises
    ------
    BadShape, NotFinite
        If the arrays differ in length or hold NaN.

    Examples
    --------
    >>> ordered = ordered_readings([60, 0, 60, 120], [20.1, 20.0, 20.1, 20.2])
    >>> ordered.readings.times_s.tolist(), ordered.repeated
    ([0.0, 60.0, 120.0], 1)
    """
    times = vector("times_s", times_s, minimum=0)
    series = vector("values", values, minimum=0)
    same_length(times_s=times, values=series)
    out_of_order = int(np.count_nonzero(np.diff(times) < 0.0))
    order = np.argsort(times, kind="stable")
    if np.any(np.diff(times[order]) == 0.0):
        # Within one instant by value, so that repeats stand side by side.
        order = np.lexsort((series, times))
    times, series = times[order], series[order]
    same_time = np.diff(times) == 0.0
    is_repeat = np.concatenate([[False], same_time & (np.diff(series) == 0.0)])
    times, series = times[~is_repeat[: len(times)]], series[~is_repeat[: len(series)]]
    starts = np.flatnonzero(np.diff(times, prepend=-np.inf) > 0.0)
    counts = np.diff(starts, append=len(times))
    conflicts = np.flatnonzero(counts > 1)
    if len(conflicts):
        # Sorted by value within an instant: first is the least, last the greatest.
        lasts = starts + counts - 1
        widest = float((series[lasts] - series[starts]).max())
        means = np.add.reduceat(series, starts) / counts
        values_kept = np.where(counts > 1, means, series[starts])
    else:
        widest, values_kept = 0.0, series[starts]
    return OrderedReadings(
        readings=Readings(times[starts], values_kept),
        out_of_order=out_of_order,
        repeated=int(is_repeat.sum()),
        conflicting_times_s=times[starts[conflicts]],
        widest_conflict=widest,
    )


def straight_pieces(
    readings: Readings, windows: Sequence[Window], longest_step_s: float
) -> Pieces:
    """Cut a series into straight pieces inside windows, leaving gaps out.

    Parameters
    ----------
    readings : Readings
        In order.
    windows : sequence of Window
        In order and apart: the measuring segments of a session, say.
    longest_step_s : float
        Readings farther apart than this have a gap between them.

    Returns
    -------
    pieces : Pieces

    Raises
    ------
    TooFew
        If there is no window.
    OutOfDomain
        If windows overlap or are out of order, or the step isn't positive.

    Examples
    --------
    >>> readings = Readings(np.array([0.0, 60.0, 600.0]), np.array([20.0, 21.0, 25.0]))
    >>> pieces = straight_pieces(readings, [Window(30.0, 700.0)], 120.0)
    >>> pieces.starts_s.tolist(), pieces.first.tolist()
    ([30.0, 600.0], [20.5, 25.0])
    """
    _refuse_unordered(windows)
    longest = positive("longest_step_s", longest_step_s)
    parts = [_pieces_in(readings, window, longest) for window in windows]
    return Pieces(
        starts_s=np.concatenate([part.starts_s for part in parts]),
        ends_s=np.concatenate([part.ends_s for part in parts]),
        first=np.concatenate([part.first for part in parts]),
        last=np.concatenate([part.last for part in parts]),
    )


def gaps_in(
    readings: Readings, windows: Sequence[Window], longest_step_s: float
) -> tuple[Gap, ...]:
    """Return the stretches of windows of which nothing is known.

    Parameters
    ----------
    readings, windows, longest_step_s
        As for `straight_pieces`.

    Returns
    -------
    gaps : tuple of Gap
        In the order of time; covered time and gaps together are the windows.

    Examples
    --------
    >>> readings = Readings(np.array([0.0, 60.0, 600.0]), np.array([20.0, 21.0, 25.0]))
    >>> gap, = gaps_in(readings, [Window(0.0, 600.0)], 120.0)
    >>> gap.start_s, gap.end_s
    (60.0, 600.0)
    """
    _refuse_unordered(windows)
    longest = positive("longest_step_s", longest_step_s)
    found: list[Gap] = []
    for window in windows:
        pieces = _pieces_in(readings, window, longest)
        starts = np.concatenate([[window.start_s], pieces.ends_s])
        ends = np.concatenate([pieces.starts_s, [window.end_s]])
        for index in np.flatnonzero(ends > starts):
            start_s, end_s = float(starts[index]), float(ends[index])
            is_edge = index in (0, len(starts) - 1)
            found.append(Gap(start_s, end_s, not is_edge or end_s - start_s > longest))
    return tuple(found)


def _pieces_in(readings: Readings, window: Window, longest_step_s: float) -> Pieces:
    times, values = readings.times_s, readings.values
    # One reading beyond either edge is enough to interpolate to the edge.
    low = max(int(np.searchsorted(times, window.start_s, side="right")) - 1, 0)
    high = int(np.searchsorted(times, window.end_s, side="left")) + 1
    times, values = times[low:high], values[low:high]
    steps = np.diff(times)
    joined = steps <= longest_step_s
    no_link = np.zeros(1, dtype=np.bool_)
    is_alone = ~(np.concatenate([no_link, joined]) | np.concatenate([joined, no_link]))[
        : len(times)
    ]
    # A piece starts at reading i and ends at i + 1, or at i itself if it is alone.
    begins = np.flatnonzero(np.concatenate([joined, no_link])[: len(times)] | is_alone)
    finishes = np.where(is_alone[begins], begins, begins + 1)
    start, end = times[begins], times[finishes]
    cut_start = np.maximum(start, window.start_s)
    cut_end = np.minimum(end, window.end_s)
    inside = (cut_start < cut_end) | (
        (start == end) & (start >= window.start_s) & (start < window.end_s)
    )
    begins, finishes = begins[inside], finishes[inside]
    start, end = start[inside], end[inside]
    cut_start, cut_end = cut_start[inside], cut_end[inside]
    slope = (values[finishes] - values[begins]) / np.where(
        end > start, end - start, 1.0
    )
    # At a reading its own value, not one that has been through a division.
    first = np.where(
        cut_start == start, values[begins], values[begins] + slope * (cut_start - start)
    )
    last = np.where(
        cut_end == end, values[finishes], values[begins] + slope * (cut_end - start)
    )
    return Pieces(cut_start, cut_end, first, last)


def _refuse_unordered(windows: Sequence[Window]) -> None:
    if not windows:
        raise TooFew("windows is empty; name at least one stretch of time.")
    for earlier, later in pairwise(windows):
        if later.start_s < earlier.end_s:
            raise OutOfDomain(
                f"The window that starts at {later.start_s:g} s overlaps the one "
                f"before it, which ends at {earlier.end_s:g} s."
            )
