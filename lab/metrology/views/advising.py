"""The fewest targets to add so that every pose sees enough."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.spatial import cKDTree

from lab.metrology import arrays
from lab.metrology.errors import OutOfDomain
from lab.metrology.frames.ties import is_on_a_line
from lab.metrology.views.judging import Requirement
from lab.metrology.views.programme import Chosen, Cut, Programme
from lab.metrology.views.strength import Strengths, measure_strengths
from lab.metrology.views.trackers import PlannedTargets, Poses, Tracker

__all__ = ["Scheme", "TargetPlan", "advise_targets", "scheme_of"]

Array = NDArray[np.float64]
Index = NDArray[np.intp]

_SHARED = 4


@dataclass(frozen=True, slots=True, eq=False)
class TargetPlan:
    """Which sites to use.

    Attributes
    ----------
    sites : tuple of str
        To be added.
    lower_bound : int
        No plan adds fewer.
    meets_all : bool
        Whether count, strength and shared targets are all met. If not, the time ran
        out: counts are met, and the strength was improved site by site.
    proof : str
        What the bound covers, in words.
    unservable : tuple of str
        Poses that no set of sites can serve, and steps between poses that none can
        tie, in words. They were left out of the conditions.
    """

    sites: tuple[str, ...]
    lower_bound: int
    meets_all: bool
    proof: str
    unservable: tuple[str, ...]

    @property
    def is_proven(self) -> bool:
        """Whether no smaller plan exists."""
        return self.meets_all and len(self.sites) == self.lower_bound

    @property
    def gap(self) -> int:
        """How many fewer there could be at most."""
        return len(self.sites) - self.lower_bound


@dataclass(frozen=True, slots=True, eq=False)
class Scheme:
    """Everything that the choice of sites depends on.

    Columns of `seen` are the present targets, then the sites; `fixed` is the number
    of the former. `steps` lists the pairs of poses that must share targets.
    """

    seen: NDArray[np.bool_]
    fixed: int
    points_mm: Array
    strengths: Strengths
    requirement: Requirement
    programme: Programme
    poses: Index
    steps: Index
    unservable: tuple[str, ...]

    def cuts(self, choice: NDArray[np.bool_]) -> list[Cut]:
        """Return the conditions beyond counts that a choice breaks, as cuts."""
        found = []
        if math.isfinite(self.requirement.largest_mm):
            for pose in self.poses:
                if not self.is_strong(int(pose), choice):
                    found.append(self._cut_of_pose(int(pose), choice))
        for first, second in self.steps:
            both = self.seen[first] & self.seen[second]
            if is_on_a_line(self.points_mm[both & self._present(choice)]):
                found.append((both[self.fixed :] & ~choice, 1))
        return found

    def is_strong(self, pose: int, choice: NDArray[np.bool_]) -> bool:
        """Say whether a pose is held well enough, loss of one target included."""
        chosen = np.flatnonzero(self.seen[pose] & self._present(choice))
        return self._strong(pose, chosen)

    def shortfall(self, choice: NDArray[np.bool_]) -> list[int]:
        """Return the poses that are not held well enough."""
        return [int(p) for p in self.poses if not self.is_strong(int(p), choice)]

    def _strong(self, pose: int, chosen: Index) -> bool:
        if self.requirement.survives_loss:
            worst = self.strengths.worst_after_loss_mm(pose, chosen)
        else:
            worst = self.strengths.worst_mm(pose, chosen)
        return worst <= self.requirement.largest_mm

    def _present(self, choice: NDArray[np.bool_]) -> NDArray[np.bool_]:
        return np.concatenate([np.ones(self.fixed, dtype=bool), choice])

    def _cut_of_pose(self, pose: int, choice: NDArray[np.bool_]) -> Cut:
        """Enlarge the failing set as far as it still fails; ask for one beyond it."""
        failing = self._present(choice) & self.seen[pose]
        offered = np.flatnonzero(self.seen[pose] & ~failing)
        offered = offered[self.programme.allowed[offered - self.fixed]]
        for site in offered:
            failing[site] = True
            if self._strong(pose, np.flatnonzero(failing)):
                failing[site] = False
        outside = self.seen[pose] & ~failing
        return outside[self.fixed :] & self.programme.allowed, 1


def advise_targets(
    present: PlannedTargets,
    sites: PlannedTargets,
    poses: Poses,
    tracker: Tracker,
    seen_present: NDArray[np.bool_],
    seen_sites: NDArray[np.bool_],
    points_of_interest_mm: ArrayLike,
    requirement: Requirement,
    *,
    spacing_mm: float = 0.0,
    share_between_poses: bool = True,
    time_limit_s: float = 30.0,
) -> TargetPlan:
    """Find the fewest sites that make every pose see enough.

    Parameters
    ----------
    present, sites : PlannedTargets
        The layout as it is (it may be empty), and where targets may be added.
    poses, tracker : Poses, Tracker
        As for `see_targets`.
    seen_present, seen_sites : ndarray of bool, shape (P, N), (P, S)
        What `see_targets` said of them.
    points_of_interest_mm : array_like, shape (Q, 3)
        Where the strength counts.
    requirement : Requirement
        What is enough.
    spacing_mm : float
        Targets must not be nearer to one another.
    share_between_poses : bool
        Whether consecutive poses must share four targets that are not on one line.
    time_limit_s : float
        At its end the best that was found is returned, with the bound.

    Returns
    -------
    TargetPlan

    Raises
    ------
    NoPlan
        If the sites' spacing leaves no plan, or no time was left to find one.
    BadShape, NotFinite, TooFew, OutOfDomain
        If an input can't be used.
    """
    limit = arrays.positive("time_limit_s", time_limit_s)
    scheme = scheme_of(
        present, sites, poses, tracker, seen_present, seen_sites,
        points_of_interest_mm, requirement, spacing_mm=spacing_mm,
        share_between_poses=share_between_poses,
    )  # fmt: skip
    found = scheme.programme.solve(scheme.cuts, limit)
    choice = found.chosen
    if not found.meets_all:
        choice = _strengthened(scheme, choice)
    meets_all = not scheme.cuts(choice)
    return TargetPlan(
        sites=tuple(sites.names[index] for index in np.flatnonzero(choice)),
        lower_bound=found.lower_bound,
        meets_all=meets_all,
        proof=_proof(scheme, found),
        unservable=scheme.unservable,
    )


def scheme_of(
    present: PlannedTargets,
    sites: PlannedTargets,
    poses: Poses,
    tracker: Tracker,
    seen_present: NDArray[np.bool_],
    seen_sites: NDArray[np.bool_],
    points_of_interest_mm: ArrayLike,
    requirement: Requirement,
    *,
    spacing_mm: float = 0.0,
    share_between_poses: bool = True,
) -> Scheme:
    """Gather what a choice of sites depends on; parameters as `advise_targets`."""
    interest = arrays.points("points_of_interest_mm", points_of_interest_mm)
    spacing = arrays.non_negative("spacing_mm", spacing_mm)
    if len(sites) == 0:
        raise OutOfDomain("There are no sites to choose from.")
    seen = np.hstack([seen_present, seen_sites])
    every = present.and_also(sites)
    fixed = len(present)
    strengths = measure_strengths(every, poses, tracker, seen, interest)
    allowed, conflicts = _spaced(present.points_mm, sites.points_mm, spacing)
    nothing = Programme(
        np.zeros((0, len(sites)), dtype=bool), np.zeros(0, dtype=np.intp), conflicts,
        allowed,
    )  # fmt: skip
    scheme = Scheme(
        seen, fixed, every.points_mm, strengths, requirement, nothing,
        np.zeros(0, dtype=np.intp), np.zeros((0, 2), dtype=np.intp), (),
    )  # fmt: skip
    return _served(scheme, poses, share_between_poses)


def _served(scheme: Scheme, poses: Poses, share_between_poses: bool) -> Scheme:
    """Set up the counts, and name what no set of sites can serve."""
    allowed, fixed = scheme.programme.allowed, scheme.fixed
    usable = np.concatenate([np.ones(fixed, dtype=bool), allowed])
    offered = scheme.seen & usable
    served, said = [], []
    for pose, name in enumerate(poses.names):
        count = int(offered[pose].sum())
        if count < scheme.requirement.count:
            said.append(
                f"pose {name}: even with every site only {count} of "
                f"{scheme.requirement.count} targets would be in view"
            )
        elif math.isfinite(scheme.requirement.largest_mm) and not scheme.is_strong(
            pose, allowed
        ):
            said.append(f"pose {name}: even with every site it isn't held well enough")
        else:
            served.append(pose)
    steps = []
    if share_between_poses:
        for first in range(len(poses) - 1):
            both = offered[first] & offered[first + 1]
            if both.sum() < _SHARED or is_on_a_line(scheme.points_mm[both]):
                said.append(
                    f"poses {poses.names[first]} and {poses.names[first + 1]}: no sites"
                    " let them share four targets"
                )
            else:
                steps.append((first, first + 1))
    pairs = np.array(steps, dtype=np.intp).reshape(-1, 2)
    both = scheme.seen[pairs[:, 0]] & scheme.seen[pairs[:, 1]]
    counts = np.vstack([scheme.seen[served], both])
    needs = np.concatenate(
        [np.full(len(served), scheme.requirement.count), np.full(len(pairs), _SHARED)]
    )
    needs = np.maximum(needs - counts[:, :fixed].sum(axis=1), 0).astype(np.intp)
    asked = needs > 0
    return Scheme(
        scheme.seen, fixed, scheme.points_mm, scheme.strengths, scheme.requirement,
        Programme(
            counts[asked][:, fixed:] & allowed, needs[asked],
            scheme.programme.conflicts, allowed,
        ),
        np.array(served, dtype=np.intp), pairs, tuple(said),
    )  # fmt: skip


def _spaced(
    present: Array, sites: Array, spacing: float
) -> tuple[NDArray[np.bool_], Index]:
    """Return which sites are free of present targets, and pairs too near."""
    allowed = np.ones(len(sites), dtype=bool)
    if spacing <= 0.0:
        return allowed, np.zeros((0, 2), dtype=np.intp)
    tree = cKDTree(sites)
    if len(present):
        for near in tree.query_ball_point(present, spacing * (1.0 - 1e-12)):
            allowed[near] = False
    pairs = tree.query_pairs(spacing * (1.0 - 1e-12), output_type="ndarray")
    both = allowed[pairs[:, 0]] & allowed[pairs[:, 1]]
    return allowed, np.asarray(pairs[both], dtype=np.intp)


def _strengthened(scheme: Scheme, choice: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Add sites one by one until every pose is strong, or nothing helps."""
    choice = choice.copy()
    beside = scheme.programme.conflicts
    while failing := scheme.cuts(choice):
        votes = np.sum([cut for cut, _ in failing], axis=0) * scheme.programme.allowed
        taken = np.flatnonzero(choice)
        blocked = np.concatenate(
            [beside[np.isin(beside[:, 0], taken), 1],
             beside[np.isin(beside[:, 1], taken), 0], taken]
        )  # fmt: skip
        votes[blocked] = 0
        if votes.max(initial=0) == 0:
            return choice
        choice[int(np.argmax(votes))] = True
    return choice


def _proof(scheme: Scheme, found: Chosen) -> str:
    asked = "the count in view"
    if scheme.requirement.survives_loss:
        asked += ", with any one target lost"
    if len(scheme.steps):
        asked += ", and the targets shared between poses"
    if not math.isfinite(scheme.requirement.largest_mm):
        return f"The bound covers {asked}; strength was not asked for."
    if found.meets_all:
        return f"The bound covers {asked}, and the strength at the points of interest."
    return (
        f"The bound covers {asked}, and the strength only as far as the time allowed; "
        "the plan meets it by adding sites one at a time."
    )
