"""Starts for cylinders and cones that outliers can't bend.

Few random points along one direction give a cross-section in closed form: three
a circle, five the surface A·|q|² + b·q + E·z + G·z² + D = 0 that holds the cones
about that direction. Each direction over the hemisphere is tried with a few dozen
such sets, all at once; its score is the quantile of the distances that the trusted
share of the points stays within; two finer grids about the best follow. Long thin
features need a finer direction than any grid: for them there is one more start,
along the points nearest to a line through two of them. The best directions are
improved by concentration; see `lab.metrology.fits.robust`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lab.metrology.fits.axial import (
    AxialModel,
    AxialState,
    bases_of,
    directions_over_hemisphere,
)
from lab.metrology.fits.local import LocalPoints
from lab.metrology.fits.refusals import NotConverged
from lab.metrology.fits.round import moved_section, normalised, taubin
from lab.metrology.fits.solver import distances, sample, solve

__all__ = ["axial_distances"]

_SCORED = 150
_SAMPLE = 1000
_DIRECTIONS = 500
_AROUND = 30
_SPREADS = (math.radians(4.0), math.radians(1.0))
_PAIRS = 300
_KEPT = 7
_APART = math.cos(math.radians(3.0))
_ROUNDS = 30


@dataclass(frozen=True, slots=True, eq=False)
class _Scored:
    """Directions with the best cross-section of each and its score."""

    bases: NDArray[np.float64]
    terms: NDArray[np.float64]
    scores: NDArray[np.float64]


def axial_distances(
    model: AxialModel, local: LocalPoints, share: float, trials: int
) -> NDArray[np.float64]:
    """Return the distances, in mm, of all points from the best robust start.

    Raises
    ------
    NotConverged
        If no start leads anywhere.
    """
    few = sample(local.points, _SCORED)
    directions = np.vstack([local.axes, directions_over_hemisphere(_DIRECTIONS)])
    scored = _score(model, few, bases_of(directions), share, trials)
    for spread in _SPREADS:
        leaders = scored.bases[_leaders(scored), 2]
        finer = _score(model, few, bases_of(_around(leaders, spread)), share, trials)
        scored = _Scored(
            np.concatenate([scored.bases, finer.bases]),
            np.concatenate([scored.terms, finer.terms]),
            np.concatenate([scored.scores, finer.scores]),
        )
    points = sample(local.points, _SAMPLE)
    starts = [_along_a_line(model, points, share)]
    for index in _leaders(scored):
        starts.append(_state_of(model, scored.bases[index], scored.terms[index]))
    best: tuple[float, AxialState] | None = None
    for start in starts:
        found = _concentrate(model, start, points, share, local.resolution)
        if found is not None and (best is None or found[0] < best[0]):
            best = found
    if best is None:
        raise NotConverged(
            "No best fit was found from any of the directions tried: the points "
            "don't resemble the feature."
        )
    return distances(model, best[1], local.points) * local.scale_mm


def _along_a_line(
    model: AxialModel, points: NDArray[np.float64], share: float
) -> AxialState | None:
    """Start along the principal axis of the points about the best pair's line."""
    few = sample(points, _SCORED)
    random = np.random.default_rng(1)
    first = random.integers(len(few), size=_PAIRS)
    second = (first + random.integers(1, len(few), size=_PAIRS)) % len(few)
    along = few[second] - few[first]
    lengths = np.linalg.norm(along, axis=1, keepdims=True)
    along /= np.where(lengths > 0.0, lengths, 1.0)
    away = few[np.newaxis] - few[first][:, np.newaxis]
    beside = np.einsum("npi,ni->np", away, along)
    squares = np.einsum("npi,npi->np", away, away) - beside**2
    held = math.ceil(share * len(few)) - 1
    best = int(np.argmin(np.partition(squares, held, axis=1)[:, held]))
    if lengths[best, 0] == 0.0:
        return None
    away = points - few[first[best]]
    distance = np.linalg.norm(np.cross(away, along[best]), axis=1)
    near = points[np.argsort(distance)[: math.ceil(share * len(points))]]
    centroid = near.mean(axis=0)
    basis = bases_of(np.linalg.svd(near - centroid)[2][:1])[0]
    flat = (near - centroid) @ basis[:2].T
    section = moved_section(taubin(flat), basis[:2] @ centroid)
    found = normalised(section)
    return None if found is None else AxialState(basis, found)


def _around(axes: NDArray[np.float64], spread: float) -> NDArray[np.float64]:
    """Return directions scattered about each axis within a few spreads."""
    random = np.random.default_rng(2)
    scattered = axes[:, np.newaxis] + spread * random.normal(
        size=(len(axes), _AROUND, 3)
    )
    flat = scattered.reshape(-1, 3)
    return np.asarray(flat / np.linalg.norm(flat, axis=1, keepdims=True))


def _leaders(scored: _Scored) -> list[int]:
    """Return the best-scored directions that differ."""
    chosen: list[int] = []
    for index in np.argsort(scored.scores):
        axis = scored.bases[index, 2]
        if np.any(np.abs(scored.bases[chosen, 2] @ axis) > _APART):
            continue
        chosen.append(int(index))
        if len(chosen) == _KEPT:
            break
    return chosen


def _score(
    model: AxialModel,
    points: NDArray[np.float64],
    bases: NDArray[np.float64],
    share: float,
    trials: int,
) -> _Scored:
    """Try random cross-sections along each direction and keep the best of each."""
    needed = 5 if model.is_cone else 3
    random = np.random.default_rng(3)
    sets = np.array(
        [random.choice(len(points), size=needed, replace=False) for _ in range(trials)]
    )
    held = math.ceil(share * len(points)) - 1
    terms = np.empty((len(bases), needed + 1))
    scores = np.empty(len(bases))
    for index, basis in enumerate(bases):
        rows, gradients = _quadratic(points @ basis.T, model.is_cone)
        null = np.linalg.svd(rows[sets])[2][:, -1]
        value = np.abs(null @ rows.T)
        slope = np.einsum("ti,pij,tj->tp", null, gradients, null, optimize=True)
        distance = value / np.sqrt(np.maximum(slope, 1e-30))
        quantile = np.partition(distance, held, axis=1)[:, held]
        winner = int(np.argmin(quantile))
        terms[index], scores[index] = null[winner], quantile[winner]
    return _Scored(bases, terms, scores)


def _quadratic(
    local: NDArray[np.float64], is_cone: bool
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return φ's terms and the products of their gradients at each point."""
    count = len(local)
    flat, along = local[:, :2], local[:, 2]
    squares = np.einsum("ij,ij->i", flat, flat)
    rows = [squares, flat[:, 0], flat[:, 1], np.ones(count)]
    derivatives = np.zeros((count, 6 if is_cone else 4, 3))
    derivatives[:, 0, :2] = 2.0 * flat
    derivatives[:, 1, 0] = derivatives[:, 2, 1] = 1.0
    if is_cone:
        rows += [along, along**2]
        derivatives[:, 4, 2] = 1.0
        derivatives[:, 5, 2] = 2.0 * along
    products = derivatives @ np.swapaxes(derivatives, 1, 2)
    return np.column_stack(rows), products


def _state_of(
    model: AxialModel, basis: NDArray[np.float64], terms: NDArray[np.float64]
) -> AxialState | None:
    """Read a state from φ's terms A, b1, b2, D and for a cone E, G."""
    section = normalised(terms[:4])
    if section is None or section[0] < 1e-9:
        return None
    if not model.is_cone:
        return AxialState(basis, section)
    radius = 1.0 / (2.0 * float(section[0]))
    slope = -float(terms[4]) / (2.0 * float(terms[0]) * radius)
    return AxialState(basis, section, math.atan(slope))


def _concentrate(
    model: AxialModel,
    state: AxialState | None,
    points: NDArray[np.float64],
    share: float,
    floor: float,
) -> tuple[float, AxialState] | None:
    """Fit the nearest points again while their sum of squares shrinks."""
    if state is None:
        return None
    held = math.ceil(share * len(points))
    cost = np.inf
    for _ in range(_ROUNDS):
        squares = distances(model, state, points) ** 2
        nearest = np.argpartition(squares, held - 1)[:held]
        after = float(squares[nearest].sum())
        if after >= cost * (1.0 - 1e-6) or after <= held * floor**2:
            return min(cost, after), state
        cost = after
        try:
            state = solve(
                model, state, points[nearest], floor=floor, most_iterations=30
            ).state
        except NotConverged:
            return None
    return cost, state
