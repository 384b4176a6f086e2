"""Observations that carry another target's name."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from lab.metrology.frames.exposures import Exposures
from lab.metrology.frames.start import place, place_targets
from lab.metrology.frames.ties import tie_pairs

__all__ = ["Mislabelled", "find_mislabelled", "relabel"]

Array = NDArray[np.float64]

_NEAR = 8.0  # standard deviations within which a place is another target's


@dataclass(frozen=True, slots=True)
class Mislabelled:
    """A target that was named as another in one exposure.

    `row` is the observation; `is_swap` says whether the other's name was given to
    this one in the same exposure.
    """

    row: int
    exposure: str
    labelled: str
    is_target: str
    is_swap: bool
    off_mm: float

    @property
    def words(self) -> str:
        """What is wrong, in a sentence."""
        if self.is_swap:
            return (
                f"In exposure {self.exposure} the labels {self.labelled} and "
                f"{self.is_target} are swapped: what is called {self.labelled} lies "
                f"where {self.is_target} is."
            )
        return (
            f"In exposure {self.exposure} the target called {self.labelled} lies where "
            f"{self.is_target} is, {self.off_mm:.3g} mm away."
        )


def find_mislabelled(exposures: Exposures) -> tuple[Mislabelled, ...]:
    """Find observations whose place is that of another target.

    The exposures are placed roughly and robustly; an observation far off its own
    target's place, and on another's, carries the wrong name.

    Parameters
    ----------
    exposures : Exposures
        A target seen from fewer than three exposures gives no majority: who of two
        is right can't be said, and either may be named.

    Returns
    -------
    tuple of Mislabelled
        In the order of the observations.

    Raises
    ------
    NotConnected
        If the exposures fall into groups.
    """
    placed = place(exposures, tie_pairs(exposures))
    gross = np.flatnonzero(placed.gross)
    if len(gross) == 0:
        return ()
    world = place_targets(exposures, placed.rotations, placed.translations)
    apart, nearest = cKDTree(placed.coordinates_mm).query(world[gross])
    spread = np.sqrt(np.trace(exposures.covariances_mm2, axis1=1, axis2=2))
    usual = np.linalg.norm(world - placed.coordinates_mm[exposures.target], axis=1)
    limit = _NEAR * np.maximum(spread[gross], float(np.median(usual)))
    found = [
        (int(row), int(target))
        for row, target, off, most in zip(gross, nearest, apart, limit, strict=True)
        if off <= most and target != exposures.target[row]
    ]
    own = {(exposures.exposure[row], exposures.target[row]): to for row, to in found}
    return tuple(
        Mislabelled(
            row=row,
            exposure=exposures.exposure_names[exposures.exposure[row]],
            labelled=exposures.target_names[exposures.target[row]],
            is_target=exposures.target_names[to],
            is_swap=own.get((exposures.exposure[row], to)) == exposures.target[row],
            off_mm=float(usual[row]),
        )
        for row, to in found
    )


def relabel(exposures: Exposures, wrong: tuple[Mislabelled, ...]) -> Exposures:
    """Give observations their own names.

    What can't have it, because the name is taken in that exposure, is left out.
    """
    target = exposures.target.copy()
    for each in wrong:
        target[each.row] = exposures.target_names.index(each.is_target)
    taken = exposures.exposure * len(exposures.target_names) + target
    changed = {each.row for each in wrong}
    _, counts = np.unique(taken, return_counts=True)
    doubled = np.isin(taken, np.unique(taken)[counts > 1])
    dropped = [row for row in changed if doubled[row]]
    return replace(exposures, target=target).without(dropped)
