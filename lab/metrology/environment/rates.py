"""How fast a room changes: the slope over a stated window.

The difference of two readings is noise divided by a minute. The rate of change is
therefore the slope of the least-squares line through the readings of a window
that ends at each reading; the window is part of the statement and printed with
it: "0.4 K/h over 60 min". Windows of which less than a stated share is covered by
readings give no rate, and are counted.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from lab.metrology.arrays import finite, positive
from lab.metrology.environment.readings import Readings, Window
from lab.metrology.errors import OutOfDomain

__all__ = ["RateOfChange", "rate_of_change"]

_Array = NDArray[np.float64]
_SECONDS_PER_HOUR: Final = 3600.0


@dataclass(frozen=True, slots=True, eq=False)
class RateOfChange:
    """Slopes at the ends of windows; the worst is the largest by magnitude.

    `left_out` counts readings whose window wasn't covered well enough. The worst
    is None where no window was.
    """

    times_s: _Array
    per_hour: _Array
    left_out: int
    worst_per_hour: float | None
    worst_at_s: float | None
    window_s: float
    least_covered: float

    @property
    def window_words(self) -> str:
        """Say over what the slope was taken."""
        return (
            f"slope over {self.window_s / 60:g} min, at least "
            f"{self.least_covered * 100:g} % covered"
        )


def rate_of_change(
    readings: Readings,
    longest_step_s: float,
    *,
    window_s: float = 3600.0,
    least_covered: float = 0.8,
    within: Sequence[Window] | None = None,
) -> RateOfChange:
    """Return the rate of change at each reading, over the window that ends there.

    Parameters
    ----------
    readings : Readings
        In order.
    longest_step_s : float
        Readings farther apart than this have a gap between them.
    window_s : float
        Length of the window, in s.
    least_covered : float
        Share of it that must be covered, above 0 and up to 1.
    within : sequence of Window or None
        Only readings in these are asked about; their windows may reach back to
        before them. None asks about all.

    Returns
    -------
    rate : RateOfChange
        In units of the readings per hour.

    Raises
    ------
    OutOfDomain
        If a length isn't positive or the share lies outside 0 to 1.

    Notes
    -----
    The sums are running sums, restarted often, so that a million readings take
    fractions of a second and lose no digits. A window with fewer than two
    readings has no slope and is left out.

    Examples
    --------
    >>> times = np.arange(0.0, 7201.0, 300.0)
    >>> rate = rate_of_change(Readings(times, 20.0 + 0.5 * times / 3600), 600.0)
    >>> round(rate.worst_per_hour, 9), rate.left_out
    (0.5, 10)
    """
    length = positive("window_s", window_s)
    longest = positive("longest_step_s", longest_step_s)
    if not 0.0 < finite("least_covered", least_covered) <= 1.0:
        raise OutOfDomain(
            f"least_covered is {least_covered:g}; it must lie above 0 and up to 1."
        )
    times = readings.times_s
    first = np.searchsorted(times, times - length, side="left")
    covered = _covered(times, first, length, longest)
    asked = _asked_about(times, within)
    # A share of 0.8 of 3600 s must not fail by the last digit of a time stamp.
    enough = covered >= least_covered * length * (1.0 - 1e-9)
    enough &= np.arange(len(times)) > first
    at = np.flatnonzero(asked & enough)
    slopes = _slopes(readings, first)[at] * _SECONDS_PER_HOUR
    worst = int(np.argmax(np.abs(slopes))) if len(at) else None
    return RateOfChange(
        times_s=times[at],
        per_hour=slopes,
        left_out=int(asked.sum()) - len(at),
        worst_per_hour=None if worst is None else float(slopes[worst]),
        worst_at_s=None if worst is None else float(times[at[worst]]),
        window_s=length,
        least_covered=least_covered,
    )


def _asked_about(times: _Array, within: Sequence[Window] | None) -> NDArray[np.bool_]:
    if within is None:
        return np.ones(len(times), dtype=np.bool_)
    asked = np.zeros(len(times), dtype=np.bool_)
    for window in within:
        low, high = np.searchsorted(times, [window.start_s, window.end_s])
        asked[low:high] = True
    return asked


def _covered(
    times: _Array, first: NDArray[np.intp], window_s: float, longest_step_s: float
) -> _Array:
    """Covered time in the window that ends at each reading."""
    steps = np.diff(times)
    joined = steps <= longest_step_s
    running = np.concatenate([[0.0], np.cumsum(np.where(joined, steps, 0.0))])
    running = running[: len(times)]
    inside = running - running[first] if len(times) else running
    # The step that straddles the window's start counts with its part inside.
    before = np.maximum(first - 1, 0)
    straddles = (first > 0) & np.concatenate([joined, [False]])[: len(times)][before]
    reach_s = times[first] - (times - window_s) if len(times) else times
    return np.asarray(inside + np.where(straddles, reach_s, 0.0))


def _slopes(readings: Readings, first: NDArray[np.intp]) -> _Array:
    """Least-squares slope over readings first[i] to i, for every i."""
    count = len(first)
    slopes = np.zeros(count)
    if count == 0:
        return slopes
    per_window = np.arange(count) - first + 1
    # Running sums of t² over a whole year would drown an hour's in rounding; they
    # start anew every few windows, with time and value counted from there.
    at_once = int(np.clip(16 * np.median(per_window), 256, 65_536))
    for start in range(0, count, at_once):
        stop = min(start + at_once, count)
        low = int(first[start])
        slopes[start:stop] = _slopes_of_block(
            readings.times_s[low:stop] - readings.times_s[start],
            readings.values[low:stop] - readings.values[start],
            first[start:stop] - low,
            np.arange(start, stop) - low,
        )
    return slopes


def _slopes_of_block(
    t: _Array, v: _Array, first: NDArray[np.intp], last: NDArray[np.intp]
) -> _Array:
    def total(terms: _Array) -> _Array:
        running = np.concatenate([[0.0], np.cumsum(terms)])
        return np.asarray(running[last + 1] - running[first])

    n = (last - first + 1).astype(np.float64)
    sum_t, sum_v = total(t), total(v)
    spread_tt = total(t * t) - sum_t**2 / n
    spread_tv = total(t * v) - sum_t * sum_v / n
    is_single = n < 2.0
    return np.where(is_single, 0.0, spread_tv / np.where(is_single, 1.0, spread_tt))
