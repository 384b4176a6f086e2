"""Two frames of the same targets: morning and evening, this year and last.

A best fit of all targets would spread the move of one over all others. Here:

1. A majority that agrees on one motion (with scale) is found robustly.
2. A uniform expansion is tested on it first, and reported as temperature: a warmer
   part moves every target, and none has moved on it.
3. On the stable targets what fails its test is taken out, one at a time, the worst
   first, with the critical value of the whole family; what was left out too early is
   taken back.
4. The others' moves are estimated together against the stable ones. Several that move
   as one body are a group (the part slipped); the rest moved singly.

For every target the least move is given that would have been found. Where no more
than half of the targets are stable there is no answer, for who moved is then a matter
of opinion.

References
----------
.. [1] Niemeier, W. (2008). Ausgleichungsrechnung, 2nd ed., ch. 12 (congruence tests;
   from memory).
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from lab.metrology import arrays
from lab.metrology.alignment import (
    Transform,
    align_robustly,
    fit_rigid,
    fit_similarity,
)
from lab.metrology.errors import OutOfDomain, TooFew
from lab.metrology.fits.robust import NoMajority
from lab.metrology.frames.comparison import (
    Expansion,
    FrameComparison,
    MovedTarget,
    NoStableMajority,
)
from lab.metrology.frames.congruence import Congruence
from lab.metrology.frames.frame import Coordinates
from lab.metrology.frames.groups import MovedGroup, find_groups
from lab.metrology.frames.reliability import POWER, family_share, noncentrality

__all__ = ["compare_frames"]

Array = NDArray[np.float64]
Index = NDArray[np.intp]

_LEAST = 4
_ROUNDS = 100
_UNCHANGED = 0.05


def compare_frames(
    before: Coordinates,
    after: Coordinates,
    *,
    expansion_per_k: float | None = None,
    probability: float = 0.01,
    power: float = POWER,
) -> FrameComparison:
    """Compare two frames of the same layout.

    Parameters
    ----------
    before, after : Coordinates
        Solved frames; each with its own datum. Only common targets are compared.
    expansion_per_k : float, optional
        Of the part, to report an expansion as a change of temperature.
    probability : float
        That any target of an unchanged part is called moved.
    power : float
        Of the least detectable move.

    Returns
    -------
    FrameComparison

    Raises
    ------
    TooFew
        With fewer than four common targets.
    NoStableMajority
        If no more than half of them kept their places: no answer.
    Degenerate
        If they are on one line.
    OutOfDomain
        If a probability isn't one.

    Examples
    --------
    >>> from lab.metrology.frames import make_coordinates
    >>> names = [f"T{k}" for k in range(8)]
    >>> points = np.random.default_rng(3).uniform(0, 900, (8, 3))
    >>> later = points[:, [1, 2, 0]] + [5, 6, 7]
    >>> later[2] += [0.4, 0, 0]
    >>> found = compare_frames(
    ...     make_coordinates(names, points, np.full((8, 3), 0.01)),
    ...     make_coordinates(names, later, np.full((8, 3), 0.01)),
    ... )
    >>> [(each.name, round(each.length_mm, 2)) for each in found.moved]
    [('T2', 0.4)]
    """
    for name, value in (("probability", probability), ("power", power)):
        if not 0.0 < value < 1.0:
            raise OutOfDomain(f"{name} is {value:g}; it must lie between 0 and 1.")
    common = [name for name in before.names if name in after.names]
    if len(common) < _LEAST:
        raise TooFew(
            f"The frames have {len(common)} targets in common; at least {_LEAST} are "
            "needed to tell which moved."
        )
    first, second = before.of(common), after.of(common)
    share = family_share(probability, len(common))
    critical = float(stats.chi2.isf(share, 3))
    start = _majority(first, second, critical)
    expansion = _expansion(first, second, start, expansion_per_k)
    with_scale = expansion.is_significant
    stable = _stable(first, second, start, critical, with_scale)
    motion, whole = _fitted(first, second, stable, with_scale)
    moved = np.flatnonzero(~stable)
    found, groups = _moves(first, whole, moved)
    least = np.linalg.eigvalsh(_weights_of_each(whole, moved))[:, 0]
    wanted = noncentrality(share, power)
    return FrameComparison(
        stable=tuple(np.array(common, dtype=object)[stable]),
        moved=found,
        groups=groups,
        expansion=expansion,
        least_detectable_mm={
            name: math.sqrt(wanted / value) if value > 0.0 else math.inf
            for name, value in zip(common, least.tolist(), strict=True)
        },
        tf_before_after=motion,
        critical=critical,
        probability=probability,
        power=power,
        only_before=tuple(name for name in before.names if name not in common),
        only_after=tuple(name for name in after.names if name not in common),
    )


def _majority(
    first: Coordinates, second: Coordinates, critical: float
) -> NDArray[np.bool_]:
    """Return the targets that agree on one motion with scale."""
    every = np.ones(len(first.names), dtype=np.bool_)
    whole = _compared(
        first, second, every, _rough(first, second, every, False), with_scale=True
    )
    agrees = whole.statistic <= float(stats.chi2.isf(_UNCHANGED, whole.degrees))
    if agrees and float(whole.each()[0].max()) <= critical:
        return every  # nothing fails, so that there is nothing to be robust against
    try:
        found = align_robustly(first.points_mm, second.points_mm, with_scale=True)
    except NoMajority:
        raise _no_answer(0, len(first.names)) from None
    return np.asarray(found.used, dtype=np.bool_)


def _no_answer(stable: int, count: int) -> NoStableMajority:
    return NoStableMajority(
        f"At most {stable} of {count} targets agree that they kept their places: with "
        "no more than half stable there is no answer to which moved. Measure the frame "
        "anew."
    )


def _compared(
    first: Coordinates,
    second: Coordinates,
    chosen: NDArray[np.bool_],
    motion: Transform,
    *,
    with_scale: bool,
) -> Congruence:
    """Return the congruence of some targets, brought together by a motion."""
    names = [name for name, use in zip(first.names, chosen, strict=True) if use]
    a, b = first.of(names), second.of(names)
    mapped = motion.apply(b.points_mm)
    turn = motion.scale * motion.rotation_a_b
    count = len(names)
    blocks = b.covariance_mm2.reshape(count, 3, count, 3)
    turned = np.einsum("ab,ibjc,dc->iajd", turn, blocks, turn, optimize=True)
    covariance = a.covariance_mm2 + turned.reshape(3 * count, 3 * count)
    return Congruence.of(
        mapped - a.points_mm, a.points_mm, covariance, with_scale=with_scale
    )


def _rough(
    first: Coordinates,
    second: Coordinates,
    stable: NDArray[np.bool_],
    with_scale: bool,
) -> Transform:
    fit = fit_similarity if with_scale else fit_rigid
    return fit(first.points_mm[stable], second.points_mm[stable]).tf_a_b


def _expansion(
    first: Coordinates,
    second: Coordinates,
    stable: NDArray[np.bool_],
    expansion_per_k: float | None,
) -> Expansion:
    motion = _rough(first, second, stable, with_scale=False)
    compared = _compared(first, second, stable, motion, with_scale=True)
    values, cofactors = compared.parameters()
    relative, u_relative = float(values[6]), math.sqrt(float(cofactors[6, 6]))
    kelvin = u_kelvin = None
    if expansion_per_k is not None:
        expansion = arrays.positive("expansion_per_k", expansion_per_k)
        kelvin, u_kelvin = relative / expansion, u_relative / expansion
    limit = float(stats.norm.isf(0.025))
    return Expansion(
        relative, u_relative, abs(relative) > limit * u_relative, kelvin, u_kelvin
    )


def _stable(
    first: Coordinates,
    second: Coordinates,
    start: NDArray[np.bool_],
    critical: float,
    with_scale: bool,
) -> NDArray[np.bool_]:
    """Take out what fails and take back what passes, one at a time."""
    stable = start.copy()
    seen: set[bytes] = set()
    for _ in range(_ROUNDS):
        if 2 * int(stable.sum()) <= len(stable):
            raise _no_answer(int(stable.sum()), len(stable))
        if stable.tobytes() in seen:
            return stable
        seen.add(stable.tobytes())
        motion = _rough(first, second, stable, with_scale)
        inside = _compared(first, second, stable, motion, with_scale=with_scale)
        statistics, _ = inside.each()
        if statistics.max() > critical:
            stable[np.flatnonzero(stable)[np.argmax(statistics)]] = False
            continue
        outside = np.flatnonzero(~stable)
        passing = [
            (_statistic_with(first, second, stable, motion, int(k), with_scale), int(k))
            for k in outside
        ]
        if not passing or min(passing)[0] > critical:
            return stable
        stable[min(passing)[1]] = True
    return stable


def _statistic_with(
    first: Coordinates,
    second: Coordinates,
    stable: NDArray[np.bool_],
    motion: Transform,
    added: int,
    with_scale: bool,
) -> float:
    """Return the statistic of one more target beside the stable ones."""
    both = stable.copy()
    both[added] = True
    compared = _compared(first, second, both, motion, with_scale=with_scale)
    statistics, _ = compared.each()
    return float(statistics[int(np.count_nonzero(both[:added]))])


def _fitted(
    first: Coordinates,
    second: Coordinates,
    stable: NDArray[np.bool_],
    with_scale: bool,
) -> tuple[Transform, Congruence]:
    motion = _rough(first, second, stable, with_scale)
    every = np.ones(len(stable), dtype=bool)
    return motion, _compared(first, second, every, motion, with_scale=with_scale)


def _moves(
    first: Coordinates, whole: Congruence, moved: Index
) -> tuple[tuple[MovedTarget, ...], tuple[MovedGroup, ...]]:
    if len(moved) == 0:
        return (), ()
    together = whole.shifts(moved)
    blocks = together.covariance_mm2.reshape(len(moved), 3, len(moved), 3)
    own = blocks[np.arange(len(moved)), :, np.arange(len(moved)), :]
    weighed = np.linalg.solve(own, together.shifts_mm[:, :, np.newaxis])[:, :, 0]
    statistics = np.einsum("ni,ni->n", together.shifts_mm, weighed)
    names = tuple(first.names[index] for index in moved)
    found = [
        MovedTarget(
            name,
            (float(shift[0]), float(shift[1]), float(shift[2])),
            math.sqrt(float(np.linalg.eigvalsh(covariance)[-1])),
            float(statistic),
        )
        for name, shift, covariance, statistic in zip(
            names, together.shifts_mm, own, statistics, strict=True
        )
    ]
    found.sort(key=lambda each: -each.statistic)
    return tuple(found), find_groups(names, first.points_mm[moved], together)


def _weights_of_each(whole: Congruence, moved: Index) -> Array:
    """Return the weight of a shift of each target, the moved ones being free."""
    weight = whole.weight
    count = len(weight) // 3
    found = np.empty((count, 3, 3))
    free = set(moved.tolist())
    others = (3 * moved[:, np.newaxis] + np.arange(3)).ravel()
    if len(moved):
        inverse = np.linalg.inv(weight[np.ix_(others, others)])
        reduced = weight - weight[:, others] @ inverse @ weight[others]
    else:
        reduced = weight
    for index in range(count):
        rows = slice(3 * index, 3 * index + 3)
        if index in free:
            rest = others[(others // 3) != index]
            own = weight[rows, rows]
            if len(rest):
                cross = weight[rows][:, rest]
                own = own - cross @ np.linalg.solve(weight[np.ix_(rest, rest)], cross.T)
            found[index] = own
        else:
            found[index] = reduced[rows, rows]
    return found
