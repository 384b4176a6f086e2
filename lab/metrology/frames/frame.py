"""A reference frame: targets with their covariance, from a solved network."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lab.metrology import arrays
from lab.metrology.alignment import Transform, VarianceFactor
from lab.metrology.errors import BadShape, OutOfDomain
from lab.metrology.frames.exposures import Exposures
from lab.metrology.frames.reliability import Reliability
from lab.metrology.frames.ties import Ties

__all__ = ["Coordinates", "Ellipsoids", "Frame", "make_coordinates"]

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Ellipsoids:
    """Standard precision ellipsoids of targets.

    Attributes
    ----------
    semi_axes_mm : ndarray, shape (T, 3)
        Standard deviations along the axes, largest first.
    axes : ndarray, shape (T, 3, 3)
        Their directions as rows.
    """

    semi_axes_mm: Array
    axes: Array


@dataclass(frozen=True, slots=True, eq=False)
class Coordinates:
    """Targets of a frame with their full covariance: what is kept of it.

    Attributes
    ----------
    names : tuple of str, length T
        The targets.
    points_mm : ndarray, shape (T, 3)
        In the frame.
    covariance_mm2 : ndarray, shape (3T, 3T)
        x, y, z of each target in turn. It belongs to the datum: uncertainties of
        relations between targets follow from all of it, not from its diagonal.
    """

    names: tuple[str, ...]
    points_mm: Array
    covariance_mm2: Array

    def of(self, names: Sequence[str]) -> Coordinates:
        """Return some of the targets, in the order asked for.

        Raises
        ------
        OutOfDomain
            If a name isn't there.
        """
        number = {name: index for index, name in enumerate(self.names)}
        if missing := [name for name in names if name not in number]:
            raise OutOfDomain(f"The frame has no target {', '.join(missing)}.")
        chosen = np.array([number[name] for name in names], dtype=np.intp)
        rows = (3 * chosen[:, np.newaxis] + np.arange(3)).ravel()
        return Coordinates(
            tuple(names),
            self.points_mm[chosen],
            self.covariance_mm2[np.ix_(rows, rows)],
        )

    @property
    def u_mm(self) -> Array:
        """Standard uncertainties of the coordinates in this datum, (T, 3)."""
        return np.asarray(
            np.sqrt(np.maximum(np.diag(self.covariance_mm2), 0.0)).reshape(-1, 3)
        )

    def ellipsoids(self) -> Ellipsoids:
        """Return the precision ellipsoids of all targets, in this datum."""
        count = len(self.names)
        blocks = self.covariance_mm2.reshape(count, 3, count, 3)
        own = blocks[np.arange(count), :, np.arange(count), :]
        values, vectors = np.linalg.eigh(own)
        return Ellipsoids(
            np.sqrt(np.maximum(values[:, ::-1], 0.0)),
            np.swapaxes(vectors, 1, 2)[:, ::-1],
        )


def make_coordinates(
    names: Sequence[str], points_mm: ArrayLike, covariance_mm2: ArrayLike
) -> Coordinates:
    """Gather coordinates of targets that were kept.

    Parameters
    ----------
    names : sequence of str, length T
        The targets, each once.
    points_mm : array_like, shape (T, 3)
        Where they are.
    covariance_mm2 : array_like, shape (3T, 3T) or (T, 3)
        The full covariance, or standard uncertainties of independent coordinates
        (mm) where no more is known.

    Returns
    -------
    Coordinates

    Raises
    ------
    BadShape, NotFinite, OutOfDomain
        If they don't fit together.

    Examples
    --------
    >>> made = make_coordinates(["A"], [[1, 2, 3]], [[0.01, 0.01, 0.02]])
    >>> made.u_mm.tolist()
    [[0.01, 0.01, 0.02]]
    """
    points = arrays.points("points_mm", points_mm)
    listed = tuple(names)
    if len(listed) != len(points) or len(set(listed)) != len(listed):
        raise BadShape(
            f"There are {len(listed)} names for {len(points)} targets; each target "
            "needs one name, and no two the same."
        )
    covariance = np.asarray(covariance_mm2, dtype=np.float64)
    width = 3 * len(points)
    if covariance.shape == (len(points), 3):
        deviations = arrays.points("u_mm", covariance)
        covariance = np.diag(deviations.ravel() ** 2)
    elif covariance.shape != (width, width):
        raise BadShape(
            f"covariance_mm2 must have shape ({width}, {width}) or ({len(points)}, 3); "
            f"it has {covariance.shape}."
        )
    arrays.points("covariance_mm2", covariance, columns=width)
    if not np.allclose(covariance, covariance.T, rtol=1e-6, atol=1e-18):
        raise OutOfDomain("covariance_mm2 must be symmetric.")
    return Coordinates(listed, points, covariance)


@dataclass(frozen=True, slots=True, eq=False)
class Frame:
    """A solved target network.

    Attributes
    ----------
    exposures : Exposures
        What it was solved from; observations and names are in its order.
    points_mm : ndarray, shape (T, 3)
        The targets.
    rotations, translations : ndarray, shape (E, 3, 3), (E, 3)
        ``seen = scale · (rotation @ target + translation)``.
    scales : ndarray, shape (G,)
        Of the systems; 1 unless they were estimated.
    residuals_mm : ndarray, shape (N, 3)
        Seen minus computed, in the tracker's frame.
    cofactors : ndarray, shape (3T + G, 3T + G)
        Of the targets, then of the scales where they were estimated, for a
        variance factor of 1.
    sum_of_squares, degrees_of_freedom : float, int
        Of the residuals at unit weight.
    variance_factor : VarianceFactor or None
        With its χ² test; None without redundancy.
    reliability : Reliability
        Tests of the observations.
    ties : Ties
        What holds the network together.
    datum : str
        What fixes the frame, in words.
    system : ndarray of int, shape (E,)
        The tracker's system of each exposure: an index of `scales`.
    has_known_orientations : bool
        Whether the orientations were given.
    """

    exposures: Exposures
    points_mm: Array
    rotations: Array
    translations: Array
    scales: Array
    residuals_mm: Array
    cofactors: Array
    sum_of_squares: float
    degrees_of_freedom: int
    variance_factor: VarianceFactor | None
    reliability: Reliability
    ties: Ties
    datum: str
    system: NDArray[np.intp]
    has_known_orientations: bool

    @property
    def target_names(self) -> tuple[str, ...]:
        """The targets, in the order of `points_mm`."""
        return self.exposures.target_names

    @property
    def inflation(self) -> float:
        """What the cofactors are multiplied by: never less than one."""
        tested = self.variance_factor
        return tested.factor if tested is not None and tested.exceeds else 1.0

    @property
    def coordinates(self) -> Coordinates:
        """The targets with their full covariance, mm²."""
        width = 3 * len(self.target_names)
        return Coordinates(
            self.target_names,
            self.points_mm,
            self.inflation * self.cofactors[:width, :width],
        )

    @property
    def has_estimated_scales(self) -> bool:
        """Whether the systems' scales were unknowns."""
        return len(self.cofactors) > 3 * len(self.target_names)

    @property
    def u_scales(self) -> Array:
        """Standard uncertainties of the estimated scales, shape (G,) or (0,)."""
        width = 3 * len(self.target_names)
        return np.asarray(np.sqrt(self.inflation * np.diag(self.cofactors)[width:]))

    def tf_exposure_frame(self, exposure: str) -> Transform:
        """Return the motion from the frame into the tracker's at an exposure.

        Raises
        ------
        OutOfDomain
            If there is no such exposure.
        """
        if exposure not in self.exposures.exposure_names:
            raise OutOfDomain(f"The frame has no exposure {exposure}.")
        index = self.exposures.exposure_names.index(exposure)
        return Transform(self.rotations[index], self.translations[index])
