from __future__ import annotations

import itertools
import math
from dataclasses import dataclass

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from lab.metrology.alignment import fit_rigid
from lab.metrology.errors import OutOfDomain
from lab.metrology.frames import Noise
from lab.metrology.views import (
    NoPlan,
    PlannedTargets,
    Poses,
    Requirement,
    TargetPlan,
    Tracker,
    advise_targets,
    judge_poses,
    judge_steps,
    plan_targets,
    poses_looking_at,
    see_targets,
    surround,
)
from lab.metrology.views.advising import Scheme, scheme_of
from lab.metrology.views.programme import greedy_cover
from lab.metrology.views.strength import measure_strengths
from tests.metrology.views.cradle import TRACKER, Cradle, box, cradle, stations

Array = NDArray[np.float64]

CORNERS = box(np.array([-300.0] * 3), np.array([300.0] * 3))[0]


@pytest.fixture(scope="module")
def made() -> Cradle:
    return cradle()


def random_sites(count: int, seed: int) -> PlannedTargets:
    """Targets on a ball, facing outward."""
    normals = np.random.default_rng(seed).normal(size=(count, 3))
    normals /= np.linalg.norm(normals, axis=1, keepdims=True)
    return plan_targets([f"S{k}" for k in range(count)], 300.0 * normals, normals)


def small_scheme(
    seed: int, requirement: Requirement, *, share: bool, spacing: float = 0.0
) -> tuple[Scheme, PlannedTargets, PlannedTargets, Poses, NDArray[np.bool_]]:
    sites, present = random_sites(13, seed), random_sites(4, seed + 1)
    present = plan_targets(
        [f"P{k}" for k in range(4)], present.points_mm, present.directions
    )
    poses = stations(5, (200.0,), 1800.0)
    seen = see_targets(present.and_also(sites), poses, TRACKER, surround([])).seen
    scheme = scheme_of(
        present, sites, poses, TRACKER, seen[:, :4], seen[:, 4:], CORNERS, requirement,
        spacing_mm=spacing, share_between_poses=share,
    )  # fmt: skip
    return scheme, present, sites, poses, seen


def brute_force(scheme: Scheme) -> int | None:
    """Return the fewest sites by trying all sets, smallest first."""
    programme = scheme.programme
    size = programme.table.shape[1]
    for count in range(size + 1):
        for chosen in itertools.combinations(range(size), count):
            choice = np.zeros(size, dtype=bool)
            choice[list(chosen)] = True
            if np.any(choice & ~programme.allowed):
                continue
            if np.any(choice[programme.conflicts].all(axis=1)):
                continue
            if np.any(programme.table.astype(int) @ choice < programme.needs):
                continue
            if not scheme.cuts(choice):
                return count
    return None


@pytest.mark.parametrize("seed", range(12))
@pytest.mark.parametrize(
    ("requirement", "share", "spacing"),
    [
        (Requirement(3, survives_loss=False), False, 0.0),
        (Requirement(3), True, 0.0),
        (Requirement(3, 0.12), True, 0.0),
        (Requirement(3, 0.05, survives_loss=False), False, 150.0),
    ],
)
def test_advice_equals_brute_force(
    seed: int, requirement: Requirement, share: bool, spacing: float
) -> None:
    scheme, present, sites, poses, seen = small_scheme(
        10 * seed, requirement, share=share, spacing=spacing
    )
    expected = brute_force(scheme)

    def advised() -> TargetPlan:
        return advise_targets(
            present, sites, poses, TRACKER, seen[:, :4], seen[:, 4:], CORNERS,
            requirement, spacing_mm=spacing, share_between_poses=share,
        )  # fmt: skip

    if expected is None:
        with pytest.raises(NoPlan, match="No choice meets"):
            advised()
        return
    plan = advised()
    assert len(plan.sites) == plan.lower_bound == expected
    assert plan.is_proven
    assert plan.gap == 0
    assert plan.unservable == scheme.unservable


def test_the_cradle_is_planned_with_proof_and_greed_needs_more(made: Cradle) -> None:
    """400 sites, 144 poses, five in view: measured 20 with proof, greedy 24."""
    assert (len(made.sites), len(made.poses)) == (400, 144)
    count_only = Requirement(5, survives_loss=False)
    plan = advise_targets(
        made.none, made.sites, made.poses, TRACKER, made.seen_none, made.seen.seen,
        made.corners_mm, count_only, spacing_mm=60.0, share_between_poses=False,
    )  # fmt: skip
    assert plan.is_proven
    assert "strength was not asked for" in plan.proof
    scheme = scheme_of(
        made.none, made.sites, made.poses, TRACKER, made.seen_none, made.seen.seen,
        made.corners_mm, count_only, spacing_mm=60.0, share_between_poses=False,
    )  # fmt: skip
    assert greedy_cover(scheme.programme).sum() > len(plan.sites)
    chosen = np.isin(made.sites.names, plan.sites)
    assert (made.seen.seen[:, chosen].sum(axis=1) >= 5).all()
    places = made.sites.points_mm[chosen]
    apart = np.linalg.norm(places[:, None] - places, axis=2)
    assert apart[np.triu_indices(len(places), 1)].min() >= 60.0


@dataclass(frozen=True)
class Offer:
    """A third of the cradle's sites, and eighteen poses."""

    none: PlannedTargets
    sites: PlannedTargets
    poses: Poses
    seen: NDArray[np.bool_]
    corners_mm: Array

    def plan(self, requirement: Requirement, time_limit_s: float = 60.0) -> TargetPlan:
        return advise_targets(
            self.none, self.sites, self.poses, TRACKER, self.seen[:, :0], self.seen,
            self.corners_mm, requirement, spacing_mm=60.0, share_between_poses=False,
            time_limit_s=time_limit_s,
        )  # fmt: skip


@pytest.fixture(scope="module")
def offer(made: Cradle) -> Offer:
    poses = stations(6, (-300.0, 500.0, 1300.0), 2000.0)
    every = made.sites
    sites = plan_targets(
        every.names[:130], every.points_mm[:130], every.directions[:130]
    )
    seen = see_targets(sites, poses, TRACKER, made.surroundings).seen
    return Offer(made.none, sites, poses, seen, made.corners_mm)


def test_a_plan_with_strength_makes_every_pose_see_enough(
    made: Cradle, offer: Offer
) -> None:
    """The proof covers count, loss and strength together."""
    asked = Requirement(5, 0.06)
    plan = offer.plan(asked)
    assert plan.meets_all
    assert "and the strength at the points of interest" in plan.proof
    chosen = np.flatnonzero(np.isin(offer.sites.names, plan.sites))
    layout = plan_targets(
        plan.sites, offer.sites.points_mm[chosen], offer.sites.directions[chosen]
    )
    visibility = see_targets(layout, offer.poses, TRACKER, made.surroundings)
    views = judge_poses(
        layout, offer.poses, TRACKER, visibility, made.corners_mm, asked
    )
    assert all(view.sees_enough for view in views)
    by_count = offer.plan(Requirement(5))
    assert len(by_count.sites) < plan.lower_bound == len(plan.sites)


def test_without_time_the_best_found_comes_with_an_honest_gap(offer: Offer) -> None:
    plan = offer.plan(Requirement(5, 0.05), time_limit_s=0.05)
    assert plan.meets_all
    assert not plan.is_proven
    assert plan.gap == len(plan.sites) - plan.lower_bound > 0
    assert "as far as the time allowed" in plan.proof


def test_poses_that_no_site_can_serve_are_named() -> None:
    sites = random_sites(40, 3)
    poses = poses_looking_at(
        [[1800, 0, 100], [0, -1800, 100], [0, 9000, 100]], [0, 0, 0],
        names=["east", "south", "far"],
    )  # fmt: skip
    seen = see_targets(sites, poses, TRACKER, surround([])).seen
    plan = advise_targets(
        plan_targets([], np.zeros((0, 3)), np.zeros((0, 3))), sites, poses, TRACKER,
        np.zeros((3, 0), dtype=bool), seen, CORNERS, Requirement(4),
    )  # fmt: skip
    assert any(
        "pose far: even with every site only 0 of 5" in s for s in plan.unservable
    )
    assert any("poses south and far" in said for said in plan.unservable)
    with pytest.raises(OutOfDomain, match="no sites to choose from"):
        advise_targets(
            sites, plan_targets([], np.zeros((0, 3)), np.zeros((0, 3))), poses, TRACKER,
            seen, np.zeros((3, 0), dtype=bool), CORNERS, Requirement(4),
        )  # fmt: skip


def test_a_layout_that_is_enough_needs_nothing() -> None:
    present, sites = random_sites(60, 1), random_sites(5, 2)
    sites = plan_targets(list("ABCDE"), sites.points_mm, sites.directions)
    poses = stations(3, (200.0,), 1800.0)
    seen = see_targets(present.and_also(sites), poses, TRACKER, surround([])).seen
    for asked in (Requirement(4), Requirement(4, 1.0)):
        plan = advise_targets(
            present, sites, poses, TRACKER, seen[:, :60], seen[:, 60:], CORNERS, asked,
            share_between_poses=False,
        )  # fmt: skip
        assert plan.sites == ()
        assert plan.is_proven


def test_strength_is_the_scatter_of_repeated_alignments() -> None:
    """Poses found from noisy targets scatter at the corners as predicted."""
    targets = random_sites(9, 8)
    poses = poses_looking_at([[0, -1800, 300]], [0, 0, 0])
    noise = Noise(0.03, 0.03, lateral_power=0.0, depth_power=0.0)
    tracker = Tracker(600, 3600, 0.5, 0.5, 1.5, noise)
    seen = np.ones((1, 9), dtype=bool)
    strengths = measure_strengths(targets, poses, tracker, seen, CORNERS)
    worst, _, _ = strengths.of_all(seen)
    random = np.random.default_rng(0)
    found = np.array(
        [
            fit_rigid(
                targets.points_mm + random.normal(0, 0.03, (9, 3)), targets.points_mm
            ).tf_a_b.apply(CORNERS)
            for _ in range(600)
        ]
    )
    spreads = [np.cov(found[:, k].T) for k in range(8)]
    largest = math.sqrt(max(np.linalg.eigvalsh(each)[-1] for each in spreads))
    # The largest of eight estimated eigenvalues is a few per cent high.
    assert worst[0] == pytest.approx(largest, rel=0.1)


@given(seed=st.integers(0, 2**20))
def test_targets_added_never_make_it_worse(seed: int) -> None:
    """What the cuts of the advice rest on, with the loss of one target too."""
    targets = random_sites(12, seed)
    poses = poses_looking_at([[0, -1800, 300]], [0, 0, 0])
    seen = np.ones((1, 12), dtype=bool)
    strengths = measure_strengths(targets, poses, TRACKER, seen, CORNERS)
    order = np.random.default_rng(seed).permutation(12).astype(np.intp)
    for judge in (strengths.worst_mm, strengths.worst_after_loss_mm):
        values = [judge(0, order[:count]) for count in range(3, 13)]
        assert all(b <= a * (1.0 + 1e-9) for a, b in itertools.pairwise(values))


def test_poses_are_judged_and_their_weaknesses_named() -> None:
    line = np.column_stack([np.linspace(-400, 400, 7), np.zeros(7), np.zeros(7)])
    aside = np.array([[0.0, 0.0, 9.0]])
    points = np.vstack([line, aside])
    targets = plan_targets(
        [f"T{k}" for k in range(8)], points, np.tile([0.0, -1.0, 0.0], (8, 1))
    )
    poses = poses_looking_at([[0, -2000, 0], [0, 2000, 0]], [0, 0, 0])
    seen = see_targets(targets, poses, TRACKER, surround([]))
    front, back = judge_poses(
        targets, poses, TRACKER, seen, CORNERS, Requirement(5, 0.5)
    )
    assert front.near_a_line
    assert front.lopsided
    assert front.weakest == "T7"
    assert not front.sees_enough
    assert "at the worst point of interest, 0.5 mm allowed" in front.shortfalls[0]
    assert back.shortfalls[0] == "0 of 5 targets in view"
    assert "don't hold the part" in back.shortfalls[1]
    (step,) = judge_steps(targets, poses, seen)
    assert (step.pose, step.next_pose, step.common) == ("1", "2", ())


def test_a_loss_counts() -> None:
    targets = random_sites(60, 2)
    poses = poses_looking_at([[0, -1800, 300]], [0, 0, 0])
    seen = see_targets(targets, poses, TRACKER, surround([]))
    count = int(seen.seen.sum())

    def shortfalls(requirement: Requirement) -> tuple[str, ...]:
        (view,) = judge_poses(targets, poses, TRACKER, seen, CORNERS, requirement)
        return view.shortfalls

    assert shortfalls(Requirement(count, survives_loss=False)) == ()
    assert shortfalls(Requirement(count)) == (
        f"{count} targets in view: below {count} if any one is lost",
    )
    (view,) = judge_poses(targets, poses, TRACKER, seen, CORNERS, Requirement())
    between = 0.5 * (view.worst_mm + view.after_loss_mm)
    assert "if one target is lost" in shortfalls(Requirement(5, between))[0]
    assert shortfalls(Requirement(5, between, survives_loss=False)) == ()
    assert Requirement.from_budget(0.03).largest_mm == pytest.approx(0.01)
    with pytest.raises(OutOfDomain, match="three are the least"):
        Requirement(2)
    with pytest.raises(OutOfDomain, match="largest_mm is -1"):
        Requirement(5, -1.0)
