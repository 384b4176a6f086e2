"""Series made small for a picture, with every peak kept.

A picture of a month at one reading a second has room for two thousand points.
Every hundredth reading would lose the door that stood open for a minute; so of
each column of the picture the first, the lowest, the highest and the last reading
stay, and both readings at the edges of every gap. For a statement of conformity a
reduced series is never used.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lab.metrology.arrays import positive
from lab.metrology.environment.readings import Readings
from lab.metrology.errors import OutOfDomain

__all__ = ["Buckets", "Picture", "buckets", "picture_of"]

_Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Picture:
    """A reduced series; the line is broken before each index in `breaks`."""

    readings: Readings
    breaks: tuple[int, ...]


@dataclass(frozen=True, slots=True, eq=False)
class Buckets:
    """Readings by stretches of equal length; empty stretches are left out."""

    starts_s: _Array
    counts: NDArray[np.intp]
    lowest: _Array
    highest: _Array
    means: _Array
    bucket_s: float


def picture_of(readings: Readings, columns: int, longest_step_s: float) -> Picture:
    """Reduce a series for a picture of so many columns.

    Parameters
    ----------
    readings : Readings
        In order.
    columns : int
        Columns of the picture, 1 or more; at most four readings of each stay,
        and those at gaps.
    longest_step_s : float
        Readings farther apart than this have a gap between them.

    Returns
    -------
    picture : Picture
        Its readings are some of those given, unchanged.

    Raises
    ------
    OutOfDomain
        If columns is below 1 or the step isn't positive.

    Examples
    --------
    >>> wave = Readings(np.arange(1000.0), np.sin(np.arange(1000.0) / 9))
    >>> picture = picture_of(wave, 20, 2.0)
    >>> len(picture.readings.times_s) <= 80
    True
    >>> bool(picture.readings.values.max() == wave.values.max())
    True
    """
    if columns < 1:
        raise OutOfDomain(f"columns is {columns}; a picture has one or more.")
    longest = positive("longest_step_s", longest_step_s)
    times, values = readings.times_s, readings.values
    if len(times) == 0:
        return Picture(readings, ())
    gaps = np.flatnonzero(np.diff(times) > longest)
    width = max(float(times[-1] - times[0]) / columns, np.finfo(np.float64).tiny)
    column = np.minimum((times - times[0]) // width, columns - 1)
    starts = np.flatnonzero(np.diff(column, prepend=-1.0))
    ends = np.append(starts[1:], len(times)) - 1
    kept = np.unique(
        np.concatenate(
            [
                starts,
                ends,
                _first_extreme(values, starts),
                _first_extreme(-values, starts),
                gaps,
                gaps + 1,
            ]
        )
    )
    breaks = np.searchsorted(kept, gaps + 1)
    return Picture(
        Readings(times[kept], values[kept]), tuple(int(index) for index in breaks)
    )


def buckets(readings: Readings, bucket_s: float) -> Buckets:
    """Return count, lowest, highest and mean of the readings of equal stretches.

    Parameters
    ----------
    readings : Readings
        In order.
    bucket_s : float
        Length of a stretch, in s; stretches start at multiples of it.

    Returns
    -------
    buckets : Buckets

    Raises
    ------
    OutOfDomain
        If the length isn't positive.

    Examples
    --------
    >>> three = Readings(np.array([0.0, 30.0, 70.0]), np.array([1.0, 3.0, 5.0]))
    >>> found = buckets(three, 60.0)
    >>> found.starts_s.tolist(), found.means.tolist()
    ([0.0, 60.0], [2.0, 5.0])
    """
    length = positive("bucket_s", bucket_s)
    number = readings.times_s // length
    starts = np.flatnonzero(np.diff(number, prepend=-np.inf))
    values = readings.values
    counts = np.diff(starts, append=len(number))
    empty = len(starts) == 0
    return Buckets(
        starts_s=number[starts] * length,
        counts=counts,
        lowest=values if empty else np.minimum.reduceat(values, starts),
        highest=values if empty else np.maximum.reduceat(values, starts),
        means=values if empty else np.add.reduceat(values, starts) / counts,
        bucket_s=length,
    )


def _first_extreme(values: _Array, starts: NDArray[np.intp]) -> NDArray[np.intp]:
    """Index of the first greatest value of each stretch."""
    greatest = np.maximum.reduceat(values, starts)
    stretch = np.repeat(np.arange(len(starts)), np.diff(starts, append=len(values)))
    at = np.flatnonzero(values == greatest[stretch])
    _, first = np.unique(stretch[at], return_index=True)
    return np.asarray(at[first], dtype=np.intp)
