"""Targets that moved as one body: the part slipped, or a bracket was bent.

Two targets with the same shift, or three and more whose shifts are those of one rigid
motion, by a χ² test of what the motion leaves. From the largest set down the worst is
left out until the rest agree.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from lab.metrology.alignment.bestfit import derivatives
from lab.metrology.frames.congruence import Shifts
from lab.metrology.frames.ties import is_on_a_line

__all__ = ["MovedGroup", "find_groups"]

Array = NDArray[np.float64]
Index = NDArray[np.intp]

_TESTED_AT = 0.01


@dataclass(frozen=True, slots=True)
class MovedGroup:
    """Targets that moved as one body.

    `shift_mm` is of their middle; `turn_rad` about it, None for two targets or
    targets on one line, whose turn isn't fixed.
    """

    names: tuple[str, ...]
    shift_mm: tuple[float, float, float]
    turn_rad: tuple[float, float, float] | None

    @property
    def words(self) -> str:
        """What happened, in a sentence."""
        said = (
            f"Targets {', '.join(self.names)} moved as one body by "
            f"{math.hypot(*self.shift_mm):.3g} mm"
        )
        if self.turn_rad is not None:
            said += f" and turned by {1e3 * math.hypot(*self.turn_rad):.3g} mrad"
        return said + ": look whether what carries them slipped."


def find_groups(
    names: tuple[str, ...], places_mm: Array, shifts: Shifts
) -> tuple[MovedGroup, ...]:
    """Find groups among moved targets, the largest first."""
    left = np.arange(len(names), dtype=np.intp)
    found = []
    while len(left) >= 2:
        group = _largest(left, places_mm, shifts)
        if group is None:
            break
        chosen, values = group
        turn = values[3:] if len(values) == 6 else None
        found.append(
            MovedGroup(
                tuple(names[index] for index in chosen),
                (float(values[0]), float(values[1]), float(values[2])),
                None
                if turn is None
                else (float(turn[0]), float(turn[1]), float(turn[2])),
            )
        )
        left = np.setdiff1d(left, chosen)
    return tuple(found)


def _largest(
    left: Index, places_mm: Array, shifts: Shifts
) -> tuple[Index, Array] | None:
    chosen = left
    while len(chosen) >= 2:
        values, squares, degrees, worst = _fitted(chosen, places_mm, shifts)
        if squares <= float(stats.chi2.isf(_TESTED_AT, degrees)):
            return chosen, values
        chosen = np.delete(chosen, worst)
    return None


def _fitted(
    chosen: Index, places_mm: Array, shifts: Shifts
) -> tuple[Array, float, int, int]:
    """Return the common motion, what it leaves, and who disagrees most."""
    places = places_mm[chosen]
    rows = (3 * chosen[:, np.newaxis] + np.arange(3)).ravel()
    weight = np.linalg.inv(shifts.covariance_mm2[np.ix_(rows, rows)])
    design = derivatives(places - places.mean(axis=0), with_scale=False)
    design = design.reshape(len(rows), 6)
    if is_on_a_line(places):
        design = design[:, :3]
    observed = shifts.shifts_mm[chosen].reshape(-1)
    across = weight @ design
    values = np.asarray(
        np.linalg.solve(design.T @ across, across.T @ observed), dtype=np.float64
    )
    rest = observed - design @ values
    weighed = (weight @ rest).reshape(-1, 3)
    each = np.einsum("ni,ni->n", rest.reshape(-1, 3), weighed)
    degrees = len(rows) - int(design.shape[1])
    return values, float(rest @ weight @ rest), degrees, int(np.argmax(each))
