"""A room against its limits: means, excursions, and the share of time inside.

Everything is weighted by time, never by the number of readings: a logger that
reports more often when the door opens must not move the mean. Excursions start
and end where the straight line between two readings crosses the limit; one that
runs into a gap, or over the edge of a window, is said to be cut there.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from lab.metrology.arrays import finite
from lab.metrology.environment.readings import (
    Gap,
    Pieces,
    Readings,
    Window,
    gaps_in,
    straight_pieces,
)
from lab.metrology.errors import OutOfDomain, TooFew

__all__ = [
    "Band",
    "Conditions",
    "Excursion",
    "ExcursionSide",
    "conditions_over",
    "excursions",
]

_Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Band:
    """Limits of a room; a value at a limit is inside. One side may be None."""

    low: float | None
    high: float | None

    def __post_init__(self) -> None:
        """Refuse bands without a limit or upside down."""
        low = -np.inf if self.low is None else finite("low", self.low)
        high = np.inf if self.high is None else finite("high", self.high)
        if self.low is None and self.high is None:
            raise OutOfDomain("A band needs a low or a high limit, or both.")
        if low >= high:
            raise OutOfDomain(f"The band from {low:g} to {high:g} is upside down.")


class ExcursionSide(StrEnum):
    """Which limit was passed."""

    ABOVE = "above"
    BELOW = "below"


@dataclass(frozen=True, slots=True)
class Excursion:
    """One stretch outside a limit, with its worst value.

    It is cut where it runs into a gap or over the edge of a window: when it truly
    began or ended isn't known from these readings.
    """

    side: ExcursionSide
    start_s: float
    end_s: float
    worst: float
    worst_at_s: float
    is_cut_at_start: bool
    is_cut_at_end: bool

    @property
    def length_s(self) -> float:
        """Its length; 0 for a single reading between two gaps."""
        return self.end_s - self.start_s


@dataclass(frozen=True, slots=True)
class Conditions:
    """A series over windows, weighted by time.

    `share_inside` is of the covered time, `share_covered` of the windows, and
    `share_known_inside` of the windows: what is both known and inside. The shares
    inside are None without a band; those of covered time, the mean and the
    extremes are None where nothing is covered.
    """

    length_s: float
    covered_s: float
    share_covered: float
    mean: float | None
    lowest: float | None
    highest: float | None
    share_inside: float | None
    share_known_inside: float | None
    excursions: tuple[Excursion, ...]
    gaps: tuple[Gap, ...]

    @property
    def longest_gap_s(self) -> float:
        """Length of the longest gap, 0 if there is none."""
        return max((gap.length_s for gap in self.gaps), default=0.0)


def conditions_over(
    readings: Readings,
    windows: Sequence[Window],
    longest_step_s: float,
    band: Band | None = None,
) -> Conditions:
    """Summarise a series over windows: mean, extremes, share inside, gaps.

    Parameters
    ----------
    readings : Readings
        Corrected, in order.
    windows : sequence of Window
        The measuring segments of a session, say; pauses don't count.
    longest_step_s : float
        Readings farther apart than this have a gap between them.
    band : Band or None
        Limits; None where only the mean is wanted.

    Returns
    -------
    conditions : Conditions

    Raises
    ------
    TooFew
        If there is no window.
    OutOfDomain
        If windows overlap or the step isn't positive.

    Examples
    --------
    >>> room = Readings(np.array([0.0, 600.0, 1200.0]), np.array([20.0, 21.0, 20.0]))
    >>> found = conditions_over(room, [Window(0, 1200)], 900.0, Band(19.5, 20.5))
    >>> found.mean, found.share_inside, len(found.excursions)
    (20.5, 0.5, 1)
    """
    pieces = straight_pieces(readings, windows, longest_step_s)
    length_s = sum(window.length_s for window in windows)
    lengths_s = pieces.lengths_s
    covered_s = float(lengths_s.sum())
    is_known = covered_s > 0.0
    inside_s = None if band is None else float(_inside_s(pieces, band).sum())
    has_any = len(lengths_s) > 0
    both = np.concatenate([pieces.first, pieces.last])
    mean = None
    if is_known:
        middles = (pieces.first + pieces.last) / 2.0
        # From a value of the series on, so that no digits go into 20 °C times 1e6.
        origin = float(middles[0])
        mean = origin + float((middles - origin) @ lengths_s) / covered_s
    return Conditions(
        length_s=length_s,
        covered_s=covered_s,
        share_covered=min(covered_s / length_s, 1.0),
        mean=mean,
        lowest=float(both.min()) if has_any else None,
        highest=float(both.max()) if has_any else None,
        share_inside=None if inside_s is None or not is_known else inside_s / covered_s,
        share_known_inside=None if inside_s is None else inside_s / length_s,
        excursions=() if band is None else _excursions(pieces, band),
        gaps=gaps_in(readings, windows, longest_step_s),
    )


def excursions(
    readings: Readings, band: Band, longest_step_s: float
) -> tuple[Excursion, ...]:
    """Return every excursion of a whole series.

    Parameters
    ----------
    readings : Readings
        Corrected, in order.
    band : Band
        Limits.
    longest_step_s : float
        Readings farther apart than this have a gap between them.

    Returns
    -------
    excursions : tuple of Excursion
        In the order of their start.

    Raises
    ------
    TooFew
        If there are no readings.

    Examples
    --------
    >>> room = Readings(np.array([0.0, 600.0, 1200.0]), np.array([20.0, 22.0, 20.0]))
    >>> hot, = excursions(room, Band(19.0, 21.0), 900.0)
    >>> hot.start_s, hot.end_s, hot.worst
    (300.0, 900.0, 22.0)
    """
    if len(readings.times_s) == 0:
        raise TooFew("readings is empty; nothing is known of any excursion.")
    start_s = float(readings.times_s[0])
    # A window is half-open, and the last reading belongs to the series.
    end_s = float(np.nextafter(readings.times_s[-1], np.inf))
    pieces = straight_pieces(readings, [Window(start_s, end_s)], longest_step_s)
    return _excursions(pieces, band)


def _inside_s(pieces: Pieces, band: Band) -> _Array:
    """Time that each piece spends inside the band."""
    low = -np.inf if band.low is None else band.low
    high = np.inf if band.high is None else band.high
    bottom = np.minimum(pieces.first, pieces.last)
    top = np.maximum(pieces.first, pieces.last)
    rise = top - bottom
    is_level = rise == 0.0
    overlap = np.maximum(np.minimum(top, high) - np.maximum(bottom, low), 0.0)
    share = np.where(
        is_level,
        (bottom >= low) & (bottom <= high),
        overlap / np.where(is_level, 1.0, rise),
    )
    return np.asarray(share * pieces.lengths_s)


def _excursions(pieces: Pieces, band: Band) -> tuple[Excursion, ...]:
    found: list[Excursion] = []
    if band.high is not None:
        found += _beyond(pieces, band.high, 1.0, ExcursionSide.ABOVE)
    if band.low is not None:
        found += _beyond(pieces, band.low, -1.0, ExcursionSide.BELOW)
    return tuple(sorted(found, key=lambda each: each.start_s))


def _beyond(
    pieces: Pieces, limit: float, sign: float, side: ExcursionSide
) -> list[Excursion]:
    """Join the pieces beyond one limit into excursions."""
    first, last = sign * (pieces.first - limit), sign * (pieces.last - limit)
    out = np.flatnonzero((first > 0.0) | (last > 0.0))
    if len(out) == 0:
        return []
    first, last = first[out], last[out]
    start, end = pieces.starts_s[out], pieces.ends_s[out]
    change = np.where(last == first, 1.0, last - first)
    crossing = start - first / change * (end - start)
    leaves = np.where(first > 0.0, start, crossing)
    returns = np.where(last > 0.0, end, crossing)
    # The next piece goes on with an excursion if it begins where this one ends,
    # still outside.
    goes_on = (last[:-1] > 0.0) & (start[1:] == end[:-1])
    begins = np.flatnonzero(np.concatenate([[True], ~goes_on]))
    ends = np.concatenate([begins[1:], [len(out)]]) - 1
    height = np.maximum(first, last)
    worst = np.maximum.reduceat(height, begins)
    group = np.repeat(np.arange(len(begins)), np.diff(begins, append=len(out)))
    _, at = np.unique(np.where(height == worst[group], group, -1), return_index=True)
    at = at[-len(begins) :]
    at_s = np.where(first[at] >= last[at], start[at], end[at])
    values = np.where(
        first[at] >= last[at], pieces.first[out[at]], pieces.last[out[at]]
    )
    return [
        Excursion(
            side=side,
            start_s=float(leaves[begin]),
            end_s=float(returns[finish]),
            worst=float(values[index]),
            worst_at_s=float(at_s[index]),
            is_cut_at_start=bool(first[begin] > 0.0),
            is_cut_at_end=bool(last[finish] > 0.0),
        )
        for index, (begin, finish) in enumerate(zip(begins, ends, strict=True))
    ]
