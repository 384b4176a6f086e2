from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
from numpy.typing import NDArray

from lab.metrology.errors import BadShape, OutOfDomain, TooFew
from lab.metrology.views import (
    NoPlan,
    Scanner,
    advise_stations,
    reach_surface,
    surround,
)
from tests.metrology.views.cradle import TRACKER, boxes, stations

Array = NDArray[np.float64]


def fewest_stations(
    usable: NDArray[np.bool_], covers: NDArray[np.bool_], times: int, shared: Array
) -> int | None:
    """Return the fewest stations by trying all sets."""
    size = len(usable)
    needed = (covers & usable[:, None]).sum(axis=0) >= times
    for count in range(1, size + 1):
        for chosen in itertools.combinations(np.flatnonzero(usable), count):
            index = list(chosen)
            if np.any(covers[index][:, needed].sum(axis=0) < times):
                continue
            reached, waiting = {index[0]}, set(index[1:])
            while near := {
                b for b in waiting if any(shared[a, b] >= 4 for a in reached)
            }:
                reached |= near
                waiting -= near
            if not waiting:
                return count
    return None


@pytest.mark.parametrize("seed", range(15))
def test_fewest_stations_equal_brute_force(seed: int) -> None:
    random = np.random.default_rng(seed)
    poses = stations(11, (0.0,), 1800.0)
    usable = random.random(11) < 0.9
    # Each sees a run of targets, so that only neighbours share four.
    middle = np.arange(11) * 3
    targets = np.arange(36)
    covers = np.abs(targets - middle[:, None] - 2) <= random.integers(2, 7, (11, 1))
    expected = fewest_stations(usable, covers, 1, covers.astype(int) @ covers.T)
    if expected is None:
        with pytest.raises(NoPlan, match="hang together"):
            advise_stations(poses, usable, covers, seen_targets=covers)
        return
    plan = advise_stations(poses, usable, covers, seen_targets=covers)
    assert len(plan.stations) == plan.lower_bound == expected
    assert plan.is_proven
    assert plan.gap == 0


def test_stations_refuse_what_is_no_plan() -> None:
    poses = stations(3, (0.0,), 1800.0)
    covers = np.eye(3, dtype=bool)
    with pytest.raises(NoPlan, match="No candidate sees enough"):
        advise_stations(poses, np.zeros(3, dtype=bool), covers)
    with pytest.raises(BadShape, match="need a row each"):
        advise_stations(poses, np.ones(2, dtype=bool), covers)
    with pytest.raises(OutOfDomain, match="times is 0"):
        advise_stations(poses, np.ones(3, dtype=bool), covers, times=0)
    plan = advise_stations(poses, np.array([True, True, False]), covers)
    assert plan.uncovered.tolist() == [2]


def test_a_floor_under_a_roof_cannot_be_scanned() -> None:
    """Two plates 100 mm apart: between them there is no room for the stand-off."""
    mesh = boxes(
        [
            (np.array([-300.0, -300.0, -10.0]), np.array([300.0, 300.0, 0.0])),
            (np.array([-300.0, -300.0, 100.0]), np.array([300.0, 300.0, 110.0])),
        ]
    )
    corners = mesh.vertices_mm[mesh.triangles]
    height, top = corners[:, :, 2].mean(axis=1), np.ptp(corners[:, :, 2], axis=1) < 1
    floor = np.flatnonzero(top & (np.abs(height) < 1))
    roof = np.flatnonzero(top & (np.abs(height - 110) < 1))
    reach = reach_surface(
        mesh, Scanner(250.0, math.radians(30.0)), stations(8, (1200.0,), 1500.0),
        TRACKER, surround([mesh]),
        characteristics={"floor": floor.tolist(), "roof": roof.tolist()}, points=400,
    )  # fmt: skip
    assert reach.by_characteristic["roof"].share == pytest.approx(1.0)
    # At 30° a line of 250 mm needs 116 mm beside the edge of the roof.
    assert 0.1 < reach.by_characteristic["floor"].share < 0.6
    assert reach.by_characteristic["floor"].u_share < 0.05
    assert reach.whole.points == 404
    none = reach_surface(
        mesh, Scanner(250.0, 0.5), stations(8, (1200.0,), 1500.0), TRACKER,
        surround([mesh]), characteristics={"roof": roof.tolist()}, points=50,
        sees_enough=np.zeros(8, dtype=bool),
    )  # fmt: skip
    assert none.unreached_triangles.tolist() == roof.tolist()
    assert none.whole.share == 0.0


def test_reach_refuses_what_is_not_there() -> None:
    mesh = boxes([(np.zeros(3), np.ones(3))])
    poses = stations(2, (0.0,), 1800.0)
    scanner = Scanner(200.0, 0.5)
    with pytest.raises(OutOfDomain, match="no triangle 99"):
        reach_surface(mesh, scanner, poses, TRACKER, surround([]),
                      characteristics={"A": [99]})  # fmt: skip
    with pytest.raises(TooFew, match="No characteristic has a face"):
        reach_surface(mesh, scanner, poses, TRACKER, surround([]),
                      characteristics={"A": []})  # fmt: skip
    with pytest.raises(OutOfDomain, match="must be from 1"):
        reach_surface(mesh, scanner, poses, TRACKER, surround([]), points=0)
    with pytest.raises(OutOfDomain, match="right angle"):
        Scanner(200.0, 2.0)
    with pytest.raises(OutOfDomain, match="stand_off_mm"):
        Scanner(0.0, 0.5)
