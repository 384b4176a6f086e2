r"""Bars as a test of the tracker's scale.

With d the length between a bar's targets in the frame and L its calibrated length,
the tracker's scale is m = d/L. The mean of several bars weighs their covariance: what
the frame adds (J Σ Jᵀ, with all of Σ), the bars' own uncertainty, and what they have
in common. The tracker's scale is kept: a significant m - 1 is a finding on the
tracker, and nothing is scaled away here.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from lab.metrology.errors import OutOfDomain, TooFew
from lab.metrology.frames.bars import Bar, bar_covariance, bar_lengths
from lab.metrology.frames.frame import Coordinates

__all__ = ["ScaleCheck", "check_scale"]

Array = NDArray[np.float64]

_BEYOND = 1.5  # times the longest bar: farther, an error of scale is extrapolated


@dataclass(frozen=True, slots=True, eq=False)
class ScaleCheck:
    """What bars say of the tracker's scale.

    Attributes
    ----------
    bars : tuple of str
        Those that were seen.
    lengths_mm, errors_mm : ndarray, shape (B,)
        In the frame, and the frame's less the calibrated ones.
    scale, u_scale : float
        m and its standard uncertainty, inflated where the bars disagree.
    is_significant : bool
        Whether m - 1 is beyond what chance gives (5 %, two-sided).
    bars_agree : bool or None
        χ² test among the bars at 5 %; None for a single bar.
    not_seen : tuple of str
        Bars that lack a target in the frame.
    longest_mm, extent_mm : float
        The longest bar, and the largest distance of the frame.
    """

    bars: tuple[str, ...]
    lengths_mm: Array
    errors_mm: Array
    scale: float
    u_scale: float
    is_significant: bool
    bars_agree: bool | None
    not_seen: tuple[str, ...]
    longest_mm: float
    extent_mm: float

    @property
    def words(self) -> tuple[str, ...]:
        """What follows, in sentences."""
        parts = 1e6 * (self.scale - 1.0), 1e6 * self.u_scale
        said = [
            f"The tracker's scale is off by {parts[0]:.1f} µm/m with a standard "
            f"uncertainty of {parts[1]:.1f} µm/m"
            + (
                ": significant, a finding on the tracker."
                if self.is_significant
                else ", which is within what chance gives."
            )
        ]
        if self.bars_agree is None:
            said.append("A single bar has no redundancy: nothing checks it.")
        elif not self.bars_agree:
            said.append("The bars disagree with one another; look at each.")
        if self.extent_mm > _BEYOND * self.longest_mm:
            said.append(
                f"The frame reaches over {self.extent_mm:.0f} mm but the longest bar "
                f"is {self.longest_mm:.0f} mm: beyond it the scale is extrapolated."
            )
        if self.not_seen:
            said.append(f"Not both ends were seen of {', '.join(self.not_seen)}.")
        return tuple(said)


def check_scale(
    frame: Coordinates, bars: Sequence[Bar], *, probability: float = 0.05
) -> ScaleCheck:
    """Test the scale of a frame by bars.

    Parameters
    ----------
    frame : Coordinates
        Solved with the tracker's own scale.
    bars : sequence of Bar
        With lengths at the temperature at which they were seen.
    probability : float
        Of calling a good scale significantly off.

    Returns
    -------
    ScaleCheck

    Raises
    ------
    TooFew
        If no bar has both its targets in the frame.
    OutOfDomain
        If the probability isn't one.

    Examples
    --------
    >>> from lab.metrology.frames import make_coordinates
    >>> seen = make_coordinates(
    ...     ["A", "B"], [[0, 0, 0], [1000.05, 0, 0]], [[0.01] * 3] * 2
    ... )
    >>> found = check_scale(seen, [Bar("R1", "A", "B", 1000.0, 0.005)])
    >>> round(1e6 * (found.scale - 1), 1), round(1e6 * found.u_scale, 1)
    (50.0, 15.0)
    >>> found.is_significant, found.bars_agree
    (True, None)
    """
    if not 0.0 < probability < 1.0:
        raise OutOfDomain(f"probability is {probability:g}; it must lie in (0, 1).")
    seen = [bar for bar in bars if bar.is_seen(frame.names)]
    if not seen:
        raise TooFew("No bar has both its targets in the frame.")
    lengths, derivatives = bar_lengths(seen, frame.names, frame.points_mm)
    calibrated = np.array([bar.length_mm for bar in seen])
    covariance = derivatives @ frame.covariance_mm2 @ derivatives.T
    covariance = (covariance + bar_covariance(seen)) / np.outer(calibrated, calibrated)
    weights = np.linalg.inv(covariance)
    ratio = lengths / calibrated
    total = float(weights.sum())
    scale = float((weights @ ratio).sum()) / total
    variance = 1.0 / total
    agree: bool | None = None
    if len(seen) > 1:
        left = ratio - scale
        squares = float(left @ weights @ left)
        agree = squares <= float(stats.chi2.isf(0.05, len(seen) - 1))
        if not agree:
            variance *= squares / (len(seen) - 1)
    u_scale = math.sqrt(variance)
    limit = float(stats.norm.isf(0.5 * probability))
    return ScaleCheck(
        bars=tuple(bar.name for bar in seen),
        lengths_mm=lengths,
        errors_mm=lengths - calibrated,
        scale=scale,
        u_scale=u_scale,
        is_significant=abs(scale - 1.0) > limit * u_scale,
        bars_agree=agree,
        not_seen=tuple(bar.name for bar in bars if bar not in seen),
        longest_mm=float(calibrated.max()),
        extent_mm=_extent(frame.points_mm),
    )


def _extent(points: Array) -> float:
    """Return the largest distance between two of the points."""
    apart = points[:, np.newaxis] - points
    return float(np.sqrt(np.einsum("ijk,ijk->ij", apart, apart).max()))
