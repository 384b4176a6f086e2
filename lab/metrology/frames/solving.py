"""Solve a target network: the least-squares frame of all exposures together.

Gauss-Newton on the normal equations with the poses eliminated
(`lab.metrology.frames.normal`), from a start along the strongest ties
(`lab.metrology.frames.start`).

Exposures are metric, so that a free network lacks six things only: where the frame is
and how it is turned. They are fixed by inner constraints on the targets (all of them,
or those named as the datum): the sum of the targets' shifts and of their turns against
the approximate coordinates is zero, which gives the covariance with the least trace.
Or targets with known coordinates are held, and the frame is theirs.

The tracker's scale is kept. Where the scales of systems are estimated, bars in the
exposures are observations; without one the scale would be a seventh freedom.

References
----------
.. [1] Luhmann, T., Robson, S., Kyle, S., Boehm, J. (2019). Close-Range Photogrammetry
   and 3D Imaging, 3rd ed., sections 2.4 and 4.4 (free networks, from memory).
.. [2] Meissl, P. (1982). Least squares adjustment: a modern approach. TU Graz.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import linalg, stats
from scipy.spatial.transform import Rotation

from lab.metrology.alignment import VarianceFactor
from lab.metrology.errors import BadShape, Degenerate, OutOfDomain
from lab.metrology.fits.refusals import NotConverged
from lab.metrology.frames.bars import Bar, observe_bars
from lab.metrology.frames.datum import Datum, choose_datum
from lab.metrology.frames.exposures import Exposures
from lab.metrology.frames.frame import Frame
from lab.metrology.frames.normal import (
    Normal,
    State,
    build_normal,
    inverse_of,
    solved,
    whitening,
)
from lab.metrology.frames.reliability import FAMILY_PROBABILITY, judge_reliability
from lab.metrology.frames.ties import Ties, judge_ties

__all__ = ["MOST_TARGETS", "NetworkTooLarge", "ScaleUndetermined", "solve_frame"]

Array = NDArray[np.float64]
Index = NDArray[np.intp]

MOST_TARGETS = 3000
_STEPS = 25
# Standard deviations of an observation. The next step would be smaller again by the
# ratio of the noise to the size of the part.
_SETTLED = 1e-3
_TESTED_AT = 0.05


class NetworkTooLarge(OutOfDomain):
    """The network has more targets than are solved at once."""


class ScaleUndetermined(Degenerate):
    """Scales shall be estimated, but no bar is seen."""


def solve_frame(
    exposures: Exposures,
    *,
    layout_mm: Mapping[str, ArrayLike] | None = None,
    held_mm: Mapping[str, ArrayLike] | None = None,
    datum_targets: Sequence[str] | None = None,
    orientations: ArrayLike | None = None,
    bars: Sequence[Bar] = (),
    systems: Sequence[str] | None = None,
    estimate_scale: bool = False,
    family_probability: float = FAMILY_PROBABILITY,
) -> Frame:
    """Solve for targets and poses together.

    Parameters
    ----------
    exposures : Exposures
        What was seen.
    layout_mm : mapping of str to array_like, shape (3,), optional
        Approximate or nominal coordinates of targets; the frame is laid on them as
        nearly as it fits. Default: the frame of the first exposure.
    held_mm : mapping of str to array_like, shape (3,), optional
        Coordinates that are held fast, instead of a free network.
    datum_targets : sequence of str, optional
        The targets whose inner constraints fix a free network; default all.
    orientations : array_like, shape (E, 3, 3), optional
        Where all orientations are known: rotations from frame to tracker.
    bars : sequence of Bar
        Used where scales are estimated.
    systems : sequence of str, length E, optional
        The system (and warm-up) of each exposure; default one.
    estimate_scale : bool
        Whether each system has an unknown scale.
    family_probability : float
        That any observation of a clean network is accused.

    Returns
    -------
    Frame

    Raises
    ------
    NotConnected
        If the exposures fall into groups; they are listed.
    ScaleUndetermined
        If scales are wanted and no bar is seen.
    NetworkTooLarge
        If there are more than 3,000 targets.
    Degenerate, TooFew, OutOfDomain, BadShape
        If an exposure or the datum is not fixed by what there is.
    NotConverged
        If the iteration does not settle: look for wrong labels.

    Examples
    --------
    >>> from lab.metrology.frames import Noise, make_exposures
    >>> part = 100.0 * np.array([[0, 0, 0], [3, 0, 0], [0, 2, 0], [1, 1, 1], [3, 2, 1]])
    >>> seen = np.vstack([part + [0, 0, 900], part[:, [1, 2, 0]] + [0, 50, 800]])
    >>> exposures = make_exposures(
    ...     ["1"] * 5 + ["2"] * 5, list("ABCDE") * 2, seen, noise=Noise(0.01, 0.02)
    ... )
    >>> frame = solve_frame(exposures, layout_mm=dict(zip("ABCDE", part)))
    >>> frame.degrees_of_freedom, bool(np.allclose(frame.points_mm, part))
    (9, True)
    """
    used = exposures.compacted()
    if len(used.target_names) > MOST_TARGETS:
        raise NetworkTooLarge(
            f"The network has {len(used.target_names)} targets; at most "
            f"{MOST_TARGETS} are solved at once."
        )
    system, names = _systems(used, exposures, systems)
    seen_bars = tuple(bar for bar in bars if bar.is_seen(used.target_names))
    if estimate_scale and not seen_bars:
        raise ScaleUndetermined(
            "The scale shall be estimated, but no bar has both its targets seen: with "
            "an unknown scale the network has a seventh freedom. Keep the tracker's "
            "scale, or show it a bar."
        )
    known = None if orientations is None else _orientations(orientations, used)
    datum = choose_datum(used, layout_mm, held_mm, datum_targets, known)
    problem = _Problem(
        used, whitening(used.covariances_mm2), system, estimate_scale,
        seen_bars if estimate_scale else (), datum, known is None,
    )  # fmt: skip
    state = State(
        datum.rotations, datum.translations, datum.coordinates_mm, np.ones(len(names))
    )
    return _finished(problem, problem.settle(state), family_probability)


@dataclass(frozen=True, slots=True, eq=False)
class _Problem:
    exposures: Exposures
    unit: Array
    system: Index
    with_scale: bool
    bars: tuple[Bar, ...]
    datum: Datum
    turns: bool

    def normal(self, state: State) -> tuple[Normal, Array, Array]:
        """Return the normal equations, with bars, as matrix and right side."""
        normal = build_normal(
            self.exposures, state, self.unit, self.system,
            with_scale=self.with_scale, turns=self.turns,
        )  # fmt: skip
        matrix, right = normal.matrix, normal.right
        if self.bars:
            design, misclosures = self._bars(state)
            width = design.shape[1]
            matrix[:width, :width] += design.T @ design
            right[:width] += design.T @ misclosures
        return normal, matrix, right

    def _bars(self, state: State) -> tuple[Array, Array]:
        names = self.exposures.target_names
        return observe_bars(self.bars, names, state.coordinates_mm)

    def bar_squares(self, state: State) -> float:
        """Return the bars' share of the sum of squares."""
        return float((self._bars(state)[1] ** 2).sum()) if self.bars else 0.0

    def settle(self, state: State) -> State:
        """Iterate until nothing moves by what noise could show."""
        sizes = np.sqrt(np.einsum("nii->n", self.exposures.covariances_mm2) / 3.0)
        settled = _SETTLED * float(np.median(sizes))
        for _ in range(_STEPS):
            normal, matrix, right = self.normal(state)
            step = self._step(matrix, right, state)
            poses = normal.pose_steps(self.exposures, step, self.system)
            largest = self._largest(state, step, poses)
            state = self._moved(state, normal, step, poses)
            if largest <= settled:
                return state
        raise NotConverged(
            f"The frame did not settle in {_STEPS} steps; look for wrong labels, or "
            "for an exposure that belongs to another part."
        )

    def _largest(self, state: State, step: Array, poses: Array) -> float:
        """Return how far the step moves anything, mm."""
        width = 3 * len(self.exposures.target_names)
        extent = float(np.linalg.norm(np.ptp(state.coordinates_mm, axis=0)))
        return max(
            float(np.abs(step[:width]).max(initial=0.0)),
            float(np.abs(poses[:, :3]).max(initial=0.0)),
            extent * float(np.abs(poses[:, 3:]).max(initial=0.0)),
        )

    def free(self) -> NDArray[np.bool_]:
        """Which unknowns of targets and scales are free."""
        count = len(self.exposures.target_names)
        scales = self.system.max() + 1 if self.with_scale else 0
        free = np.ones(3 * count + scales, dtype=bool)
        free[: 3 * count] = np.repeat(~self.datum.held, 3)
        return free

    def _step(self, matrix: Array, right: Array, state: State) -> Array:
        free = self.free()
        step = np.zeros(len(free))
        if not np.any(free):
            return step
        bordered = self._bordered(matrix, state)
        try:
            factor = linalg.cho_factor(
                bordered[np.ix_(free, free)], lower=True, check_finite=False
            )
        except linalg.LinAlgError:
            raise Degenerate(
                "The exposures don't determine all targets; look for targets or "
                "exposures that hang by a line."
            ) from None
        step[free] = linalg.cho_solve(factor, right[free], check_finite=False)
        return step

    def _bordered(self, matrix: Array, state: State) -> Array:
        """Add what fixes the datum to the normal matrix."""
        border = self.datum.border(state.coordinates_mm, len(matrix))
        if border is None:
            return matrix
        weight = float(np.trace(matrix)) / len(matrix)
        return np.asarray(matrix + weight * (border @ border.T))

    def cofactors(self, matrix: Array, state: State) -> Array:
        """Return the covariance of targets and scales at unit variance."""
        free = self.free()
        found = np.zeros_like(matrix)
        if not np.any(free):
            return found
        bordered = self._bordered(matrix, state)
        inverse = inverse_of(bordered[np.ix_(free, free)])
        border = self.datum.border(state.coordinates_mm, len(matrix))
        if border is not None:
            weight = float(np.trace(matrix)) / len(matrix)
            freedom = self.datum.freedoms(state.coordinates_mm, len(matrix))
            mixing = freedom @ np.linalg.inv(border.T @ freedom)
            inverse -= (mixing @ mixing.T)[np.ix_(free, free)] / weight
        found[np.ix_(free, free)] = inverse
        return found

    def _moved(self, state: State, normal: Normal, step: Array, poses: Array) -> State:
        turn = Rotation.from_rotvec(poses[:, 3:]).as_matrix()
        middle = np.einsum("nij,nj->ni", state.rotations, normal.centres_mm)
        shifted = state.translations + poses[:, :3] + middle
        width = 3 * len(self.exposures.target_names)
        return State(
            turn @ state.rotations,
            shifted - np.einsum("nij,nj->ni", turn, middle),
            state.coordinates_mm + step[:width].reshape(-1, 3),
            state.scales + step[width:] if self.with_scale else state.scales,
        )


def _finished(problem: _Problem, state: State, family_probability: float) -> Frame:
    state = problem.datum.laid_on(state)
    normal, matrix, _ = problem.normal(state)
    cofactors = problem.cofactors(matrix, state)
    used = problem.exposures
    squares = float(np.einsum("ni,ni->", normal.residuals, normal.residuals))
    squares += problem.bar_squares(state)
    degrees = (
        3 * len(used)
        + len(problem.bars)
        - int(problem.free().sum())
        - (6 if problem.turns else 3) * len(used.exposure_names)
        + problem.datum.defect
    )
    factor = _variance(squares, degrees)
    reliability = judge_reliability(
        used, normal, cofactors, problem.unit, problem.system,
        exceeds=factor is not None and factor.exceeds,
        family_probability=family_probability,
    )  # fmt: skip
    ties = Ties((), (), ())
    if problem.datum.pairs is not None:
        ties = judge_ties(used, problem.datum.pairs, state.coordinates_mm)
    return Frame(
        exposures=used,
        points_mm=state.coordinates_mm,
        rotations=state.rotations,
        translations=state.translations,
        scales=state.scales,
        residuals_mm=solved(problem.unit, normal.residuals[:, :, np.newaxis])[:, :, 0],
        cofactors=cofactors,
        sum_of_squares=squares,
        degrees_of_freedom=degrees,
        variance_factor=factor,
        reliability=reliability,
        ties=ties,
        datum=problem.datum.words,
        system=problem.system,
        has_known_orientations=not problem.turns,
    )


def _variance(squares: float, degrees: int) -> VarianceFactor | None:
    if degrees < 1:
        return None
    factor = squares / degrees
    critical = float(stats.chi2.isf(_TESTED_AT, degrees)) / degrees
    return VarianceFactor(factor, critical, factor > critical)


def _systems(
    used: Exposures, given: Exposures, systems: Sequence[str] | None
) -> tuple[Index, tuple[str, ...]]:
    if systems is None:
        return np.zeros(len(used.exposure_names), dtype=np.intp), ("",)
    if len(systems) != len(given.exposure_names):
        raise BadShape(
            f"There are {len(given.exposure_names)} exposures but {len(systems)} "
            "systems."
        )
    own = dict(zip(given.exposure_names, systems, strict=True))
    listed = [own[name] for name in used.exposure_names]
    names = tuple(dict.fromkeys(listed))
    return np.array([names.index(name) for name in listed], dtype=np.intp), names


def _orientations(orientations: ArrayLike, used: Exposures) -> Array:
    given = np.asarray(orientations, dtype=np.float64)
    if given.shape != (len(used.exposure_names), 3, 3):
        raise BadShape(
            f"orientations must have shape ({len(used.exposure_names)}, 3, 3); they "
            f"have {given.shape}."
        )
    if not np.allclose(given @ np.swapaxes(given, 1, 2), np.eye(3), atol=1e-9):
        raise OutOfDomain("Each of the orientations must be a rotation.")
    return given
