"""Where the iteration starts: exposures placed one by one along the strongest ties.

Each exposure is aligned to the one that it is tied to by their common targets, along
the strongest spanning tree. Where a tie has gross errors (two labels swapped, say) it
is aligned robustly, and afterwards all exposures are placed anew against the targets'
medians, with what is far off left out, so that one wrong point doesn't pull the start
of everything beyond it.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_array

from lab.metrology.alignment import align_robustly, fit_rigid
from lab.metrology.alignment.bestfit import best_rotation
from lab.metrology.errors import MetrologyError
from lab.metrology.frames.exposures import Exposures
from lab.metrology.frames.ties import NotConnected, Pairs, is_on_a_line

__all__ = ["Placed", "place", "place_targets", "segment_sums"]

Array = NDArray[np.float64]
Index = NDArray[np.intp]

_GROSS = 8.0  # standard deviations of a difference that no noise explains
_ROUNDS = 4


@dataclass(frozen=True, slots=True, eq=False)
class Placed:
    """Poses and targets: ``seen = rotations @ target + translations``.

    `gross` marks the observations that no noise explains.
    """

    rotations: Array
    translations: Array
    coordinates_mm: Array
    gross: NDArray[np.bool_]


def segment_sums(values: Array, segment: Index, count: int) -> Array:
    """Return the sums of rows by segment, shape (count, …)."""
    flat = values.reshape(len(values), -1)
    place = (segment, np.arange(len(values)))
    gather = csr_array((np.ones(len(values)), place), shape=(count, len(values)))
    return np.asarray(gather @ flat).reshape(count, *values.shape[1:])


def place(exposures: Exposures, pairs: Pairs, root: int | None = None) -> Placed:
    """Place all exposures and targets in one frame, roughly.

    Parameters
    ----------
    exposures : Exposures
        What was seen.
    pairs : Pairs
        Their ties.
    root : int, optional
        The exposure whose frame it shall be; default is the first.

    Returns
    -------
    Placed

    Raises
    ------
    NotConnected
        If the exposures fall into groups; they are listed.
    """
    count = len(exposures.exposure_names)
    rotations = np.tile(np.eye(3), (count, 1, 1))
    translations = np.zeros((count, 3))
    groups, labels = pairs.components(3)
    first = 0 if root is None else root
    for group in range(groups):
        head = first if labels[first] == group else int(np.argmax(labels == group))
        order, parents = pairs.strongest_tree(head)
        for child in order[1:]:
            parent = parents[child]
            turn, shift = _pairwise(exposures, int(parent), int(child))
            rotations[child] = turn @ rotations[parent]
            translations[child] = turn @ translations[parent] + shift
    placed = Placed(
        rotations, translations, np.zeros((0, 3)), np.zeros(len(exposures), dtype=bool)
    )
    if groups > 1:
        placed = _joined(exposures, placed, labels, int(labels[first]))
    return _settled(exposures, placed)


def place_targets(exposures: Exposures, rotations: Array, translations: Array) -> Array:
    """Return every observation in the common frame, shape (N, 3)."""
    turned = exposures.points_mm - translations[exposures.exposure]
    return np.asarray(
        np.einsum("nji,nj->ni", rotations[exposures.exposure], turned)
    )  # Rᵀ·(z - t)


def _pairwise(exposures: Exposures, parent: int, child: int) -> tuple[Array, Array]:
    low, high = np.searchsorted(exposures.exposure, [parent, parent + 1])
    start, stop = np.searchsorted(exposures.exposure, [child, child + 1])
    _, own, other = np.intersect1d(
        exposures.target[low:high],
        exposures.target[start:stop],
        assume_unique=True,
        return_indices=True,
    )
    b, a = exposures.points_mm[low + own], exposures.points_mm[start + other]
    spread = np.sqrt(
        np.trace(exposures.covariances_mm2[low + own], axis1=1, axis2=2)
        + np.trace(exposures.covariances_mm2[start + other], axis1=1, axis2=2)
    )
    return _aligned(a, b, spread)


def _aligned(a: Array, b: Array, spread: Array) -> tuple[Array, Array]:
    """Return the motion of b onto a, robustly if some pair is grossly off."""
    middle_a, middle_b = a.mean(axis=0), b.mean(axis=0)
    turn, _ = best_rotation((a - middle_a).T @ (b - middle_b))
    shift = middle_a - turn @ middle_b
    far = np.linalg.norm(a - b @ turn.T - shift, axis=1)
    if len(a) >= 5 and np.any(far > _GROSS * spread):
        try:
            motion = align_robustly(a, b).alignment.tf_a_b
        except MetrologyError:
            # No majority: the plain fit is as good a start as any, and what is
            # wrong shows when all exposures are there.
            return turn, shift
        return motion.rotation_a_b, motion.translation_a_b
    return turn, shift


def _joined(exposures: Exposures, placed: Placed, labels: Index, keep: int) -> Placed:
    """Bring groups of exposures that share enough targets between them together."""
    count = len(exposures.target_names)
    labels = labels.copy()
    rotations, translations = placed.rotations.copy(), placed.translations.copy()
    while len(names := np.unique(labels)) > 1:
        pair = _joinable(exposures, rotations, translations, labels, names, keep)
        if pair is None:
            raise _refusal(exposures, labels)
        held, moved, motion = pair
        inside = labels == moved
        # seen = R·x_moved + t and x_held = M·x_moved + m.
        rotations[inside] = rotations[inside] @ motion[0].T
        translations[inside] -= np.einsum("nij,j->ni", rotations[inside], motion[1])
        labels[inside] = held
    return replace(
        placed,
        rotations=rotations,
        translations=translations,
        coordinates_mm=np.zeros((count, 3)),
    )


def _joinable(
    exposures: Exposures,
    rotations: Array,
    translations: Array,
    labels: Index,
    names: Index,
    keep: int,
) -> tuple[int, int, tuple[Array, Array]] | None:
    world = place_targets(exposures, rotations, translations)
    group = labels[exposures.exposure]
    count = len(exposures.target_names)
    middles, known = {}, {}
    for name in names:
        rows = group == name
        number = np.bincount(exposures.target[rows], minlength=count)
        sums = segment_sums(world[rows], exposures.target[rows], count)
        middles[name] = sums / np.maximum(number, 1)[:, np.newaxis]
        known[name] = number > 0
    for held in sorted(names, key=lambda name: name != keep):
        for moved in names:
            both = known[held] & known[moved]
            if moved == held or both.sum() < 3 or is_on_a_line(middles[held][both]):
                continue
            motion = fit_rigid(middles[held][both], middles[moved][both]).tf_a_b
            turned = motion.rotation_a_b, motion.translation_a_b
            return int(held), int(moved), turned
    return None


def _refusal(exposures: Exposures, labels: Index) -> NotConnected:
    groups = tuple(
        tuple(
            exposures.exposure_names[index] for index in np.flatnonzero(labels == name)
        )
        for name in np.unique(labels)
    )
    listed = "; ".join(f"({', '.join(_shortened(group))})" for group in groups)
    refusal = NotConnected(
        f"The exposures fall into {len(groups)} groups that share fewer than three "
        f"targets not on one line: {listed}. Take an exposure that sees targets of "
        "both, or add targets between them."
    )
    refusal.groups = groups
    return refusal


def _shortened(names: tuple[str, ...]) -> tuple[str, ...]:
    return names if len(names) <= 8 else (*names[:7], f"… {len(names)} in all")


def _settled(exposures: Exposures, placed: Placed) -> Placed:
    """Find the targets, and place the exposures anew if something is far off."""
    count = len(exposures.target_names)
    spread = np.sqrt(np.trace(exposures.covariances_mm2, axis1=1, axis2=2))
    rotations, translations = placed.rotations, placed.translations
    world = place_targets(exposures, rotations, translations)
    number = np.bincount(exposures.target, minlength=count)
    means = segment_sums(world, exposures.target, count)
    means /= np.maximum(number, 1)[:, np.newaxis]
    far = np.linalg.norm(world - means[exposures.target], axis=1)
    # Errors add up along the tree: what is gross stands out among the others too.
    limit = np.maximum(_GROSS * spread, _GROSS * float(np.median(far)))
    if not np.any(far > limit):
        return Placed(rotations, translations, means, np.zeros(len(far), dtype=bool))
    for _ in range(_ROUNDS):
        middles = _medians(world, exposures.target, count)
        far = np.linalg.norm(world - middles[exposures.target], axis=1)
        # The start is rough: what is far off is so beside what is usual here.
        limit = np.maximum(_GROSS * spread, _GROSS * float(np.median(far)))
        rotations, translations = _placed_anew(
            exposures, middles, far <= limit, rotations, translations
        )
        world = place_targets(exposures, rotations, translations)
    middles = _medians(world, exposures.target, count)
    far = np.linalg.norm(world - middles[exposures.target], axis=1)
    gross = far > np.maximum(_GROSS * spread, _GROSS * float(np.median(far)))
    return Placed(rotations, translations, middles, gross)


def _placed_anew(
    exposures: Exposures,
    targets: Array,
    used: NDArray[np.bool_],
    rotations: Array,
    translations: Array,
) -> tuple[Array, Array]:
    """Align every exposure to the targets by the observations that are used."""
    rotations, translations = rotations.copy(), translations.copy()
    for exposure, start in enumerate(exposures.starts):
        stop = start + len(exposures.seen_from(exposure))
        rows = start + np.flatnonzero(used[start:stop])
        if is_on_a_line(exposures.points_mm[rows]):
            continue
        motion = fit_rigid(
            exposures.points_mm[rows], targets[exposures.target[rows]]
        ).tf_a_b
        rotations[exposure] = motion.rotation_a_b
        translations[exposure] = motion.translation_a_b
    return rotations, translations


def _medians(world: Array, target: Index, count: int) -> Array:
    """Return the median of each coordinate of each target, shape (count, 3)."""
    number = np.bincount(target, minlength=count)
    starts = np.cumsum(number) - number
    found = np.zeros((count, 3))
    some = number > 0
    lower = (starts + (number - 1) // 2)[some]
    upper = (starts + number // 2)[some]
    for axis in range(3):
        ordered = world[np.lexsort((world[:, axis], target)), axis]
        found[some, axis] = 0.5 * (ordered[lower] + ordered[upper])
    return found
