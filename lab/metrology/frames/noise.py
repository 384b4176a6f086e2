"""The noise of a tracker that sees targets in space: lateral, and in depth.

A tracker that triangulates sees across its line of sight far better than along it.
Across, the noise is an angle, so it grows with the range; along, it grows with the
square of the range (a fixed base, a fixed error of the angles). Both powers can be
stated otherwise; 0 makes a noise that does not grow.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lab.metrology import arrays
from lab.metrology.errors import Degenerate, OutOfDomain

__all__ = ["Noise"]

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Noise:
    r"""Standard deviations of a seen target at a stated range.

    At range r they are
    :math:`\sigma_l (r/r_0)^{p_l}` across and :math:`\sigma_d (r/r_0)^{p_d}` along
    the line of sight, which starts at the origin of the tracker.

    Attributes
    ----------
    lateral_mm, depth_mm : float
        At `reference_mm`, per coordinate.
    reference_mm : float
        The range that they are stated for.
    lateral_power, depth_power : float
        How they grow; 1 and 2 for triangulation.

    Examples
    --------
    >>> noise = Noise(lateral_mm=0.01, depth_mm=0.03, reference_mm=2000.0)
    >>> noise.lateral_at([4000.0]).tolist(), noise.depth_at([4000.0]).tolist()
    ([0.02], [0.12])
    """

    lateral_mm: float
    depth_mm: float
    reference_mm: float = 2000.0
    lateral_power: float = 1.0
    depth_power: float = 2.0

    def __post_init__(self) -> None:
        """Refuse a noise that is not above zero, or shrinks with the range."""
        arrays.positive("lateral_mm", self.lateral_mm)
        arrays.positive("depth_mm", self.depth_mm)
        arrays.positive("reference_mm", self.reference_mm)
        for name, power in (
            ("lateral_power", self.lateral_power),
            ("depth_power", self.depth_power),
        ):
            if not 0.0 <= arrays.finite(name, power) <= 4.0:
                raise OutOfDomain(f"{name} is {power:g}; it must lie from 0 to 4.")

    def lateral_at(self, ranges_mm: ArrayLike) -> Array:
        """Return the standard deviation across the line of sight, mm, shape (N,)."""
        return self._at(ranges_mm, self.lateral_mm, self.lateral_power)

    def depth_at(self, ranges_mm: ArrayLike) -> Array:
        """Return the standard deviation along the line of sight, mm, shape (N,)."""
        return self._at(ranges_mm, self.depth_mm, self.depth_power)

    def covariances(self, points_tracker_mm: ArrayLike) -> Array:
        """Return the covariance of each seen point, mm², in the tracker's frame.

        Parameters
        ----------
        points_tracker_mm : array_like, shape (N, 3)
            The tracker stands at the origin.

        Returns
        -------
        covariances_mm2 : ndarray, shape (N, 3, 3)

        Raises
        ------
        BadShape, NotFinite, TooFew
            As `lab.metrology.arrays.points` does.
        Degenerate
            If a point is at the tracker itself.
        """
        seen = arrays.points("points_tracker_mm", points_tracker_mm)
        ranges = np.linalg.norm(seen, axis=1)
        if not np.all(ranges > 0.0):
            raise Degenerate(
                f"Point {int(np.argmin(ranges))} lies at the tracker itself, so it has "
                "no line of sight."
            )
        sight = seen / ranges[:, np.newaxis]
        across = self.lateral_at(ranges) ** 2
        along = self.depth_at(ranges) ** 2
        outer = sight[:, :, np.newaxis] * sight[:, np.newaxis, :]
        return np.asarray(
            across[:, np.newaxis, np.newaxis] * np.eye(3)
            + (along - across)[:, np.newaxis, np.newaxis] * outer
        )

    def _at(self, ranges_mm: ArrayLike, sigma: float, power: float) -> Array:
        ranges = arrays.vector("ranges_mm", ranges_mm)
        return np.asarray(sigma * (ranges / self.reference_mm) ** power)
