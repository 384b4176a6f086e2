"""What a tracker saw: targets by name, from exposures by name.

An exposure is everything seen from one pose of the tracker. Exposures keep the order
in which they were taken, for that order matters where a target moved in between.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lab.metrology import arrays
from lab.metrology.errors import BadShape, MetrologyError, OutOfDomain
from lab.metrology.frames.noise import Noise

__all__ = ["Exposures", "SeenTwice", "make_exposures"]

Array = NDArray[np.float64]
Index = NDArray[np.intp]


class SeenTwice(MetrologyError):
    """An exposure holds the same target more than once."""


@dataclass(frozen=True, slots=True, eq=False)
class Exposures:
    """N observations: target `target[k]` seen from exposure `exposure[k]`.

    Attributes
    ----------
    exposure, target : ndarray of int, shape (N,)
        Indices of names; sorted by exposure, then as given.
    points_mm : ndarray, shape (N, 3)
        Where the target was seen, in the frame of the tracker at that exposure.
    covariances_mm2 : ndarray, shape (N, 3, 3)
        Of those points.
    exposure_names, target_names : tuple of str
        In the order of their first appearance.
    """

    exposure: Index
    target: Index
    points_mm: Array
    covariances_mm2: Array
    exposure_names: tuple[str, ...]
    target_names: tuple[str, ...]

    def __len__(self) -> int:
        """Return the number of observations."""
        return len(self.exposure)

    @property
    def starts(self) -> Index:
        """Where each exposure begins among the observations, shape (E,)."""
        return np.searchsorted(self.exposure, np.arange(len(self.exposure_names)))

    def seen_from(self, exposure: int) -> Index:
        """Return the targets seen from one exposure."""
        low, high = np.searchsorted(self.exposure, [exposure, exposure + 1])
        return self.target[low:high]

    def describe(self, row: int) -> str:
        """Name one observation in words."""
        return (
            f"target {self.target_names[self.target[row]]} in exposure "
            f"{self.exposure_names[self.exposure[row]]}"
        )

    def without(self, rows: ArrayLike) -> Exposures:
        """Return the exposures without some observations; the names stay."""
        kept = np.ones(len(self), dtype=bool)
        kept[np.asarray(rows, dtype=np.intp)] = False
        return replace(
            self,
            exposure=self.exposure[kept],
            target=self.target[kept],
            points_mm=self.points_mm[kept],
            covariances_mm2=self.covariances_mm2[kept],
        )

    def compacted(self) -> Exposures:
        """Return the same observations without names that nothing refers to."""
        exposures, exposure = np.unique(self.exposure, return_inverse=True)
        targets, target = np.unique(self.target, return_inverse=True)
        return replace(
            self,
            exposure=exposure.astype(np.intp),
            target=target.astype(np.intp),
            exposure_names=tuple(self.exposure_names[index] for index in exposures),
            target_names=tuple(self.target_names[index] for index in targets),
        )

    def relabelled(self, rows: ArrayLike, name: str) -> Exposures:
        """Return the exposures with some observations given another target's name.

        A name that is not there yet is added: the target from then on is another
        target, in another place.
        """
        names = self.target_names
        if name not in names:
            names = (*names, name)
        target = self.target.copy()
        target[np.asarray(rows, dtype=np.intp)] = names.index(name)
        changed = replace(self, target=target, target_names=names)
        _refuse_twice(changed)
        return changed


def make_exposures(
    exposures: Sequence[str],
    targets: Sequence[str],
    points_mm: ArrayLike,
    *,
    noise: Noise | None = None,
    covariances_mm2: ArrayLike | None = None,
) -> Exposures:
    """Gather observations of targets, one a row.

    Parameters
    ----------
    exposures, targets : sequence of str, length N
        Names, row by row; rows of an exposure need not stand together.
    points_mm : array_like, shape (N, 3)
        In the frame of the tracker at that exposure.
    noise : Noise, optional
        Gives the covariances by range.
    covariances_mm2 : array_like, shape (N, 3, 3), optional
        Instead of `noise`.

    Returns
    -------
    Exposures

    Raises
    ------
    BadShape, NotFinite, TooFew
        If the rows are not equally many, or a coordinate is not a finite number.
    SeenTwice
        If an exposure holds a target twice.
    OutOfDomain
        If a covariance is not symmetric and positive definite.

    Examples
    --------
    >>> seen = make_exposures(
    ...     ["1", "1", "2"], ["A", "B", "A"],
    ...     [[0, 0, 900], [50, 0, 900], [9, 9, 950]], noise=Noise(0.01, 0.02),
    ... )
    >>> seen.target_names, seen.starts.tolist()
    (('A', 'B'), [0, 2])
    """
    seen = arrays.points("points_mm", points_mm)
    if not len(exposures) == len(targets) == len(seen):
        raise BadShape(
            f"There are {len(exposures)} names of exposures, {len(targets)} of "
            f"targets and {len(seen)} points; they must be equally many."
        )
    if (noise is None) == (covariances_mm2 is None):
        raise BadShape("Give either the noise or the covariances.")
    if noise is not None:
        covariances = noise.covariances(seen)
    else:
        covariances = _covariances(covariances_mm2, len(seen))
    exposure_names, exposure = _indices(exposures)
    target_names, target = _indices(targets)
    order = np.argsort(exposure, kind="stable")
    gathered = Exposures(
        exposure[order],
        target[order],
        seen[order],
        covariances[order],
        exposure_names,
        target_names,
    )
    _refuse_twice(gathered)
    return gathered


def _indices(names: Sequence[str]) -> tuple[tuple[str, ...], Index]:
    unique = tuple(dict.fromkeys(names))
    number = {name: index for index, name in enumerate(unique)}
    return unique, np.array([number[name] for name in names], dtype=np.intp)


def _covariances(given: ArrayLike | None, count: int) -> Array:
    covariances = np.asarray(given, dtype=np.float64)
    if covariances.shape != (count, 3, 3):
        raise BadShape(
            f"covariances_mm2 must have shape ({count}, 3, 3); they have "
            f"{covariances.shape}."
        )
    arrays.points("covariances_mm2", covariances.reshape(-1, 3))
    symmetric = np.allclose(covariances, np.swapaxes(covariances, 1, 2), rtol=1e-9)
    if not symmetric or np.any(np.linalg.eigvalsh(covariances)[:, 0] <= 0.0):
        raise OutOfDomain("Each covariance must be symmetric and positive definite.")
    return covariances


def _refuse_twice(gathered: Exposures) -> None:
    key = gathered.exposure * len(gathered.target_names) + gathered.target
    _, first, counts = np.unique(key, return_index=True, return_counts=True)
    if np.any(counts > 1):
        row = int(first[np.argmax(counts > 1)])
        raise SeenTwice(
            f"There is more than one {gathered.describe(row)}; a target is seen "
            "once from each pose."
        )
