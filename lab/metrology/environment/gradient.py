"""How uneven a room is: several sensors at one time.

The spread is the warmest minus the coldest sensor. Where the sensors' places are
known, the gradient is the slope of the least-squares plane field through their
values; in directions in which no two sensors differ nothing is known, and none is
invented: the gradient is the shortest one that fits.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lab.metrology.arrays import points, positive, vector
from lab.metrology.environment.readings import Readings
from lab.metrology.errors import BadShape, TooFew

__all__ = ["SpatialGradient", "spatial_gradient"]

_Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class SpatialGradient:
    """Unevenness at those of the asked times at which every sensor was heard.

    `spread` (T,) is largest minus smallest; `per_metre` (T, 3) the gradient;
    `directions` how many directions in space the sensors span, 0 to 3;
    `left_out_s` the times at which a sensor was in a gap.
    """

    times_s: _Array
    spread: _Array
    per_metre: _Array
    directions: int
    left_out_s: _Array
    warmest: tuple[str, ...]
    coldest: tuple[str, ...]

    @property
    def worst_spread(self) -> float | None:
        """The largest spread, None if no time was left."""
        return float(self.spread.max()) if len(self.spread) else None


def spatial_gradient(
    sensors: Mapping[str, Readings],
    places_mm: Mapping[str, Sequence[float]],
    times_s: ArrayLike,
    longest_step_s: float,
) -> SpatialGradient:
    """Compare several sensors at common times.

    Parameters
    ----------
    sensors : mapping of str to Readings
        Corrected series by sensor, two or more.
    places_mm : mapping of str to sequence of 3 floats
        Where each sensor is, in mm.
    times_s : array_like, shape (T,)
        When to compare them.
    longest_step_s : float
        Readings farther apart than this have a gap between them.

    Returns
    -------
    gradient : SpatialGradient

    Raises
    ------
    TooFew
        If there are fewer than two sensors.
    BadShape
        If a sensor has no place, or a place not three coordinates.

    Examples
    --------
    >>> t = np.array([0.0, 600.0])
    >>> low = Readings(t, np.array([20.0, 20.0]))
    >>> high = Readings(t, np.array([20.6, 21.0]))
    >>> found = spatial_gradient({"low": low, "high": high},
    ...     {"low": [0, 0, 0], "high": [0, 0, 2000]}, [300.0], 900.0)
    >>> found.spread.round(3).tolist(), found.per_metre.round(3).tolist()
    ([0.8], [[0.0, 0.0, 0.4]])
    """
    names = list(sensors)
    if len(names) < 2:
        raise TooFew(f"{len(names)} sensor(s); a gradient needs two or more.")
    if missing := [name for name in names if name not in places_mm]:
        raise BadShape(f"places_mm lacks the sensor(s) {', '.join(missing)}.")
    places_m = points("places_mm", [places_mm[name] for name in names]) / 1000.0
    asked = vector("times_s", times_s)
    longest = positive("longest_step_s", longest_step_s)
    values = np.column_stack(
        [_values_at(sensors[name], asked, longest) for name in names]
    )
    heard = ~np.isnan(values).any(axis=1)
    values, kept = values[heard], asked[heard]
    apart = places_m - places_m.mean(axis=0)
    centred = values - values.mean(axis=1, keepdims=True)
    # The pseudo-inverse gives the shortest gradient where directions are missing.
    return SpatialGradient(
        times_s=kept,
        spread=np.ptp(values, axis=1),
        per_metre=centred @ np.linalg.pinv(apart, rcond=1e-9).T,
        directions=int(np.linalg.matrix_rank(apart, tol=1e-6)),
        left_out_s=asked[~heard],
        warmest=tuple(names[index] for index in values.argmax(axis=1)),
        coldest=tuple(names[index] for index in values.argmin(axis=1)),
    )


def _values_at(readings: Readings, asked: _Array, longest_step_s: float) -> _Array:
    """Interpolate a series at times; NaN, inside this module only, where unheard."""
    times, values = readings.times_s, readings.values
    if len(times) == 0:
        return np.full(len(asked), np.nan)
    after = np.searchsorted(times, asked, side="left")
    later = np.minimum(after, len(times) - 1)
    is_reading = times[later] == asked
    earlier = np.maximum(later - 1, 0)
    joined = (after > 0) & (after < len(times))
    joined &= times[later] - times[earlier] <= longest_step_s
    found = np.interp(asked, times, values)
    return np.where(is_reading | joined, found, np.nan)
