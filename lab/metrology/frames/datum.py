"""What fixes the frame of a network: inner constraints, or targets that are held."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.sparse import csr_array
from scipy.sparse.csgraph import connected_components

from lab.metrology import arrays
from lab.metrology.alignment import fit_rigid
from lab.metrology.alignment.bestfit import cross_matrices
from lab.metrology.errors import Degenerate, OutOfDomain, TooFew
from lab.metrology.frames.exposures import Exposures
from lab.metrology.frames.normal import State
from lab.metrology.frames.start import Placed, place
from lab.metrology.frames.ties import NotConnected, Pairs, is_on_a_line, tie_pairs

__all__ = ["Datum", "choose_datum"]

Array = NDArray[np.float64]

_HELD = "held targets"
_SURE_MM2 = 1e-6


@dataclass(frozen=True, slots=True, eq=False)
class Datum:
    """The start of the iteration, and what fixes the frame.

    `fixing` marks the targets whose inner constraints fix a free network, `held`
    those with known coordinates, `nominal_mm` the layout (NaN where unknown).
    `defect` is the number of freedoms: 6, 3 where orientations are known, 0 where
    targets are held.
    """

    rotations: Array
    translations: Array
    coordinates_mm: Array
    held: NDArray[np.bool_]
    fixing: NDArray[np.bool_]
    nominal_mm: Array
    defect: int
    pairs: Pairs | None
    words: str

    def freedoms(self, points_mm: Array, unknowns: int) -> Array:
        """Return the motions of all targets that change nothing seen, (U, d)."""
        count = len(points_mm)
        found = np.zeros((unknowns, self.defect))
        found[: 3 * count, :3] = np.tile(np.eye(3), (count, 1))
        if self.defect == 6:
            middle = points_mm[self.fixing].mean(axis=0)
            found[: 3 * count, 3:] = -cross_matrices(points_mm - middle).reshape(-1, 3)
        return np.asarray(found / np.linalg.norm(found, axis=0))

    def border(self, points_mm: Array, unknowns: int) -> Array | None:
        """Return the constraints that fix them, shape (U, d), or None."""
        if self.defect == 0:
            return None
        found = self.freedoms(points_mm, unknowns)
        outside = np.zeros(unknowns, dtype=bool)
        outside[: 3 * len(points_mm)] = np.repeat(~self.fixing, 3)
        found[outside] = 0.0
        return np.asarray(found / np.linalg.norm(found, axis=0))

    def laid_on(self, state: State) -> State:
        """Lay a free frame on the layout as nearly as it fits."""
        known = self.fixing & ~np.isnan(self.nominal_mm[:, 0])
        if self.defect == 0 or not np.any(known):
            return state
        if self.defect == 3:
            apart = self.nominal_mm[known] - state.coordinates_mm[known]
            turn, shift = np.eye(3), apart.mean(axis=0)
        else:
            motion = fit_rigid(self.nominal_mm[known], state.coordinates_mm[known])
            turn, shift = motion.tf_a_b.rotation_a_b, motion.tf_a_b.translation_a_b
        rotations = state.rotations @ turn.T
        return replace(
            state,
            rotations=rotations,
            translations=state.translations - rotations @ shift,
            coordinates_mm=state.coordinates_mm @ turn.T + shift,
        )


def choose_datum(
    used: Exposures,
    layout_mm: Mapping[str, ArrayLike] | None,
    held_mm: Mapping[str, ArrayLike] | None,
    datum_targets: Sequence[str] | None,
    orientations: Array | None,
) -> Datum:
    """Choose what fixes the frame, and place everything roughly in it."""
    count = len(used.target_names)
    nominal = _listed("layout_mm", layout_mm, used)
    held_at = _listed("held_mm", held_mm, used)
    held = ~np.isnan(held_at[:, 0])
    fixing = _fixing(used, datum_targets)
    if held_mm is not None and not np.any(held):
        raise TooFew("None of the held targets is seen.")
    if orientations is not None:
        return _oriented(used, orientations, nominal, held_at, fixing)
    if np.any(held):
        if is_on_a_line(held_at[held]):
            raise Degenerate(
                f"The {int(held.sum())} held targets that are seen don't fix a frame: "
                "three are needed that are not on one line."
            )
        placed, pairs = _placed_on(used, held, held_at)
        points = np.where(held[:, np.newaxis], held_at, placed.coordinates_mm)
        words = f"{int(held.sum())} targets held at their known coordinates"
        return Datum(
            placed.rotations, placed.translations, points, held, ~held, nominal, 0,
            pairs, words,
        )  # fmt: skip
    pairs = tie_pairs(used)
    placed = place(used, pairs)
    datum = Datum(
        placed.rotations, placed.translations, placed.coordinates_mm,
        np.zeros(count, dtype=bool), fixing, nominal, 6, pairs,
        _free_words(fixing, layout_mm is not None),
    )  # fmt: skip
    if is_on_a_line(placed.coordinates_mm[fixing]):
        raise Degenerate(
            "The targets of the datum are fewer than three or on one line, so they "
            "don't fix a frame."
        )
    return datum if layout_mm is None else _near_layout(datum)


def _free_words(fixing: NDArray[np.bool_], on_layout: bool) -> str:
    which = "all" if np.all(fixing) else f"{int(fixing.sum())}"
    where = "the layout" if on_layout else "the first exposure's frame"
    return f"free network, inner constraints on {which} targets, laid on {where}"


def _near_layout(datum: Datum) -> Datum:
    known = datum.fixing & ~np.isnan(datum.nominal_mm[:, 0])
    nominal, found = datum.nominal_mm[known], datum.coordinates_mm[known]
    if is_on_a_line(nominal):
        raise TooFew(
            f"Only {int(known.sum())} targets of the datum are in the layout, or they "
            "are on one line; three beside a line are needed to lay the frame on it."
        )
    motion = fit_rigid(nominal, found).tf_a_b
    state = State(
        datum.rotations @ motion.rotation_a_b.T,
        datum.translations,
        motion.apply(datum.coordinates_mm),
        np.ones(1),
    )
    return replace(
        datum,
        rotations=state.rotations,
        translations=datum.translations
        - np.einsum("nij,j->ni", state.rotations, motion.translation_a_b),
        coordinates_mm=state.coordinates_mm,
    )


def _placed_on(
    used: Exposures, held: NDArray[np.bool_], held_at: Array
) -> tuple[Placed, Pairs]:
    """Place everything in the frame of the held targets, as one more exposure."""
    number, known = len(used.exposure_names), np.flatnonzero(held)
    covariances = np.tile(_SURE_MM2 * np.eye(3), (len(known), 1, 1))
    extended = replace(
        used,
        exposure=np.concatenate([used.exposure, np.full(len(known), number)]),
        target=np.concatenate([used.target, known]),
        points_mm=np.vstack([used.points_mm, held_at[known]]),
        covariances_mm2=np.concatenate([used.covariances_mm2, covariances]),
        exposure_names=(*used.exposure_names, _HELD),
    )
    placed = place(extended, tie_pairs(extended), root=number)
    # After a robust start the held targets may stand a trifle off: bring them back.
    turn, shift = placed.rotations[number], placed.translations[number]
    rotations = placed.rotations[:number] @ turn.T
    return (
        Placed(
            rotations,
            placed.translations[:number] - rotations @ shift,
            placed.coordinates_mm @ turn.T + shift,
            placed.gross[: len(used)],
        ),
        tie_pairs(used),
    )


def _oriented(
    used: Exposures,
    orientations: Array,
    nominal: Array,
    held_at: Array,
    fixing: NDArray[np.bool_],
) -> Datum:
    """Take known orientations: what is left is linear, and one common target ties."""
    held = ~np.isnan(held_at[:, 0])
    _refuse_apart(used, held)
    points = np.where(np.isnan(nominal), 0.0, nominal)
    points = np.where(held[:, np.newaxis], held_at, points)
    is_held = bool(np.any(held))
    words = "orientations known, " + (
        f"{int(held.sum())} targets held" if is_held else "inner constraints"
    )
    return Datum(
        orientations, np.zeros((len(orientations), 3)), points, held, fixing, nominal,
        0 if is_held else 3, None, words,
    )  # fmt: skip


def _refuse_apart(used: Exposures, held: NDArray[np.bool_]) -> None:
    exposures, targets = len(used.exposure_names), len(used.target_names)
    first = np.concatenate([used.exposure, np.flatnonzero(held) + exposures])
    second = np.concatenate(
        [used.target + exposures, np.full(int(held.sum()), exposures + targets)]
    )
    size = exposures + targets + 1
    graph = csr_array((np.ones(len(first)), (first, second)), shape=(size, size))
    _, labels = connected_components(graph, directed=False)
    found = labels[:exposures]
    if len(np.unique(found)) > 1:
        groups = tuple(
            tuple(used.exposure_names[k] for k in np.flatnonzero(found == label))
            for label in np.unique(found)
        )
        refusal = NotConnected(
            f"The exposures fall into {len(groups)} groups without a common target: "
            + "; ".join(", ".join(group) for group in groups)
            + "."
        )
        refusal.groups = groups
        raise refusal


def _listed(name: str, given: Mapping[str, ArrayLike] | None, used: Exposures) -> Array:
    """Return known coordinates in the order of the targets, NaN where unknown."""
    found = np.full((len(used.target_names), 3), np.nan)
    for index, target in enumerate(used.target_names):
        if given is not None and target in given:
            place = np.asarray(given[target])[np.newaxis]
            found[index] = arrays.points(f"{name}[{target!r}]", place)[0]
    return found


def _fixing(used: Exposures, datum_targets: Sequence[str] | None) -> NDArray[np.bool_]:
    if datum_targets is None:
        return np.ones(len(used.target_names), dtype=bool)
    if missing := [name for name in datum_targets if name not in used.target_names]:
        raise OutOfDomain(f"Datum target {', '.join(missing)} is not seen.")
    return np.isin(np.array(used.target_names), np.array(list(datum_targets)))
