"""Scale bars: lengths between two targets, known from a calibration."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lab.metrology import arrays
from lab.metrology.errors import Degenerate, OutOfDomain

__all__ = ["Bar", "bar_covariance", "bar_lengths", "observe_bars"]

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Bar:
    """A bar whose ends are two targets of the network.

    Attributes
    ----------
    name, first, second : str
        Of the bar and of its targets.
    length_mm : float
        Calibrated, brought to the temperature at which it was seen.
    u_mm : float
        Its standard uncertainty, without what it shares with the other bars.
    u_common_mm : float
        What it shares with the others, as of one calibration laboratory.
    """

    name: str
    first: str
    second: str
    length_mm: float
    u_mm: float
    u_common_mm: float = 0.0

    def __post_init__(self) -> None:
        """Refuse a bar without length, certainty or two ends."""
        arrays.positive(f"length_mm of bar {self.name}", self.length_mm)
        arrays.positive(f"u_mm of bar {self.name}", self.u_mm)
        arrays.non_negative(f"u_common_mm of bar {self.name}", self.u_common_mm)
        if self.first == self.second:
            raise OutOfDomain(f"Bar {self.name} has the same target at both ends.")

    def is_seen(self, names: Sequence[str]) -> bool:
        """Say whether both its targets are among the names."""
        return self.first in names and self.second in names


def bar_lengths(
    bars: Sequence[Bar], names: Sequence[str], points_mm: Array
) -> tuple[Array, Array]:
    """Return the lengths between the bars' targets, and their derivatives.

    Returns
    -------
    lengths_mm : ndarray, shape (B,)
    derivatives : ndarray, shape (B, 3T)
        By the coordinates of all targets.
    """
    number = {name: index for index, name in enumerate(names)}
    lengths = np.empty(len(bars))
    derivatives = np.zeros((len(bars), points_mm.size))
    for row, bar in enumerate(bars):
        first, second = number[bar.first], number[bar.second]
        apart = points_mm[second] - points_mm[first]
        lengths[row] = np.linalg.norm(apart)
        if lengths[row] == 0.0:
            raise Degenerate(f"Both targets of bar {bar.name} are at one place.")
        derivatives[row, 3 * first : 3 * first + 3] = -apart / lengths[row]
        derivatives[row, 3 * second : 3 * second + 3] = apart / lengths[row]
    return lengths, derivatives


def bar_covariance(bars: Sequence[Bar]) -> Array:
    """Return the covariance of the bars' calibrated lengths, mm², shape (B, B)."""
    common = np.array([bar.u_common_mm for bar in bars])
    own = np.array([bar.u_mm for bar in bars])
    return np.asarray(np.diag(own**2) + np.outer(common, common))


def observe_bars(
    bars: Sequence[Bar], names: Sequence[str], points_mm: Array
) -> tuple[Array, Array]:
    """Return the bars as observations at unit weight.

    Returns
    -------
    design : ndarray, shape (B, 3T)
    misclosures : ndarray, shape (B,)
        Calibrated minus present length.
    """
    lengths, derivatives = bar_lengths(bars, names, points_mm)
    calibrated = np.array([bar.length_mm for bar in bars])
    unit = np.linalg.inv(np.linalg.cholesky(bar_covariance(bars)))
    return np.asarray(unit @ derivatives), np.asarray(unit @ (calibrated - lengths))
