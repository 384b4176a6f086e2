"""Whether each pose sees enough, and if not, why not.

A pose sees enough if at least n targets are in view, the worst standard deviation at
the points of interest is within a share of what the budget's frame term allows, and
both still hold when any one target is lost. Five targets are common practice with no
source; three that are not on one line are the geometric minimum.

Consecutive exposures must share four targets that are not on one line, or the frame
hangs by too little there.

Two warnings say why a set is weak: *near a line* (its second spread is small beside
its first, so that it may roll about the line), and *lopsided* (the points of interest
lie so far outside the targets that the part is much worse known there than amid them).
The thresholds are our choice, no source.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lab.metrology import arrays
from lab.metrology.errors import OutOfDomain
from lab.metrology.frames.ties import is_on_a_line
from lab.metrology.views.strength import Strengths, measure_strengths
from lab.metrology.views.trackers import PlannedTargets, Poses, Tracker
from lab.metrology.views.visibility import Visibility

__all__ = ["PoseView", "Requirement", "WeakStep", "judge_poses", "judge_steps"]

Array = NDArray[np.float64]

_NEAR_LINE = 0.1  # second spread over the first
_LOPSIDED = 3.0  # worst at the points of interest over that amid the targets
_SHARED = 4


@dataclass(frozen=True, slots=True)
class Requirement:
    """What a pose must see.

    Attributes
    ----------
    least_targets : int
        In view, at least three.
    largest_mm : float
        Of the standard deviation at the points of interest; infinite asks for the
        count alone.
    survives_loss : bool
        Whether both must hold without any one of the targets.
    """

    least_targets: int = 5
    largest_mm: float = math.inf
    survives_loss: bool = True

    def __post_init__(self) -> None:
        """Refuse what no pose of a body in space could be held by."""
        if self.least_targets < 3:
            raise OutOfDomain(
                f"least_targets is {self.least_targets}; three are the least that hold "
                "a body in space."
            )
        if not self.largest_mm > 0.0:
            raise OutOfDomain(f"largest_mm is {self.largest_mm:g}; it must be above 0.")

    @classmethod
    def from_budget(
        cls, frame_term_mm: float, share: float = 1.0 / 3.0, least_targets: int = 5
    ) -> Requirement:
        """Return what a budget's frame term asks for.

        Raises
        ------
        NotFinite, OutOfDomain
            If the term or the share is not above zero.
        """
        allowed = arrays.positive("frame_term_mm", frame_term_mm)
        return cls(least_targets, allowed * arrays.positive("share", share))

    @property
    def count(self) -> int:
        """How many must be in view so that the count holds after a loss."""
        return self.least_targets + int(self.survives_loss)


@dataclass(frozen=True, slots=True)
class PoseView:
    """What one pose sees, and whether it is enough.

    Attributes
    ----------
    pose : str
        Its name.
    targets : tuple of str
        In view.
    worst_mm, after_loss_mm : float
        The largest standard deviation at the points of interest, and when the target
        that hurts most is lost.
    weakest : str or None
        That target.
    near_a_line, lopsided : bool
        Warnings.
    shortfalls : tuple of str
        Why it isn't enough, in words; empty if it is.
    """

    pose: str
    targets: tuple[str, ...]
    worst_mm: float
    after_loss_mm: float
    weakest: str | None
    near_a_line: bool
    lopsided: bool
    shortfalls: tuple[str, ...]

    @property
    def sees_enough(self) -> bool:
        """Whether the requirement is met."""
        return not self.shortfalls


@dataclass(frozen=True, slots=True)
class WeakStep:
    """Consecutive poses that share too few targets, or targets on one line."""

    pose: str
    next_pose: str
    common: tuple[str, ...]


def judge_poses(
    targets: PlannedTargets,
    poses: Poses,
    tracker: Tracker,
    visibility: Visibility,
    points_of_interest_mm: ArrayLike,
    requirement: Requirement,
) -> tuple[PoseView, ...]:
    """Judge every pose.

    Parameters
    ----------
    targets, poses, tracker : PlannedTargets, Poses, Tracker
        As for `see_targets`.
    visibility : Visibility
        What it returned for them.
    points_of_interest_mm : array_like, shape (Q, 3)
        Characteristics, or corners of the part.
    requirement : Requirement
        What is enough.

    Returns
    -------
    tuple of PoseView
        In the order of the poses.

    Raises
    ------
    BadShape, NotFinite, TooFew
        If the points of interest aren't points.
    """
    interest = arrays.points("points_of_interest_mm", points_of_interest_mm)
    strengths = measure_strengths(targets, poses, tracker, visibility.seen, interest)
    worst, after, weakest = strengths.of_all(visibility.seen)
    amid = _amid(targets, poses, tracker, visibility.seen)
    found = []
    for index, name in enumerate(poses.names):
        seen = np.flatnonzero(visibility.seen[index])
        found.append(
            PoseView(
                pose=name,
                targets=tuple(targets.names[k] for k in seen),
                worst_mm=float(worst[index]),
                after_loss_mm=float(after[index]),
                weakest=None
                if weakest[index] < 0
                else targets.names[int(weakest[index])],
                near_a_line=is_near_a_line(targets.points_mm[seen]),
                lopsided=bool(
                    math.isfinite(worst[index])
                    and worst[index] > _LOPSIDED * amid[index]
                ),
                shortfalls=_shortfalls(
                    len(seen), float(worst[index]), float(after[index]), requirement
                ),
            )
        )
    return tuple(found)


def is_near_a_line(points_mm: Array) -> bool:
    """Say whether points lie so near a line that they may roll about it."""
    if len(points_mm) < 3:
        return len(points_mm) > 0
    local = points_mm - points_mm.mean(axis=0)
    spread = np.linalg.svd(local, compute_uv=False)
    return bool(spread[1] <= _NEAR_LINE * spread[0])


def _amid(
    targets: PlannedTargets,
    poses: Poses,
    tracker: Tracker,
    seen: NDArray[np.bool_],
) -> Array:
    """Return the worst standard deviation at the seen targets' own middle."""
    found = np.full(len(seen), np.inf)
    for index in range(len(seen)):
        chosen = np.flatnonzero(seen[index])
        if len(chosen) < 3:
            continue
        # At the middle the shift alone matters; the noise there is the mean one.
        middle = targets.points_mm[chosen].mean(axis=0)
        ranges = np.array([np.linalg.norm(middle - poses.places_mm[index])])
        largest = max(
            float(tracker.noise.depth_at(ranges)[0]),
            float(tracker.noise.lateral_at(ranges)[0]),
        )
        found[index] = largest / math.sqrt(len(chosen))
    return found


def _shortfalls(
    count: int, worst: float, after: float, requirement: Requirement
) -> tuple[str, ...]:
    said = []
    least = requirement.least_targets
    if count < least:
        said.append(f"{count} of {least} targets in view")
    elif count < requirement.count:
        said.append(f"{count} targets in view: below {least} if any one is lost")
    if not worst <= requirement.largest_mm:
        said.append(_weak(worst, requirement.largest_mm))
    elif requirement.survives_loss and not after <= requirement.largest_mm:
        said.append(_weak(after, requirement.largest_mm) + " if one target is lost")
    return tuple(said)


def _weak(worst: float, largest: float) -> str:
    if math.isinf(worst):
        return "the targets in view don't hold the part"
    return f"{worst:.3g} mm at the worst point of interest, {largest:.3g} mm allowed"


def judge_steps(
    targets: PlannedTargets, poses: Poses, visibility: Visibility
) -> tuple[WeakStep, ...]:
    """Find consecutive poses that share fewer than four targets off one line."""
    found = []
    for index in range(len(poses) - 1):
        both = visibility.seen[index] & visibility.seen[index + 1]
        if both.sum() < _SHARED or is_on_a_line(targets.points_mm[both]):
            found.append(
                WeakStep(
                    poses.names[index],
                    poses.names[index + 1],
                    tuple(targets.names[k] for k in np.flatnonzero(both)),
                )
            )
    return tuple(found)


def meets(
    strengths: Strengths, requirement: Requirement, pose: int, chosen: NDArray[np.intp]
) -> bool:
    """Say whether some seen targets are enough at one pose."""
    if len(chosen) < requirement.count:
        return False
    if math.isinf(requirement.largest_mm):
        return True
    if requirement.survives_loss:
        return strengths.worst_after_loss_mm(pose, chosen) <= requirement.largest_mm
    return strengths.worst_mm(pose, chosen) <= requirement.largest_mm
