"""A network of 1,000 targets and 1,000 exposures against its bare sparse algebra.

A long part of 12 m with targets all over it; each exposure sees the thirty or so that
are nearest to where it looks. The whole solution is timed, from sightings to frame:
start along the strongest ties, iteration, full covariance, redundancy and tests.

The floor is what its equations need of sparse algebra alone, on the very matrix of the
targets (poses eliminated): one factorisation (SuperLU, the sparse one that SciPy has)
and one back-substitution for each iteration, and for the covariance one factorisation
and as many back-substitutions as there are unknowns. Forming the matrix, the start and
all the statistics are what the solution adds.

The growth of the cost from 100 to 1,000 exposures of the same 1,000 targets is stated.
"""

from __future__ import annotations

import argparse
import time

import numpy as np
from scipy.sparse import csc_array, identity
from scipy.sparse.linalg import splu

from lab.metrology.frames import Exposures, Frame, Noise, make_exposures, solve_frame
from lab.metrology.frames.normal import State, build_normal, whitening

MOST_TIMES_SPARSE = 3.0
ITERATIONS = 3
NOISE = Noise(lateral_mm=0.02, depth_mm=0.05)


def long_part(targets: int, exposures: int, in_view: int = 30) -> Exposures:
    """Return the sightings, with noise."""
    random = np.random.default_rng(6)
    length = 12.0 * targets
    points = random.uniform([0.0, -500.0, -300.0], [length, 500.0, 300.0], (targets, 3))
    middles = np.linspace(0.0, length, exposures)
    names, seen, labels = [], [], []
    for index, middle in enumerate(middles):
        place = np.array([middle, -1800.0 if index % 2 else 1800.0, 400.0])
        ahead = np.array([middle, 0.0, 0.0]) - place
        ahead /= np.linalg.norm(ahead)
        right = np.cross(ahead, [0.0, 0.0, 1.0])
        right /= np.linalg.norm(right)
        rotation = np.vstack([right, np.cross(ahead, right), ahead])
        near = np.argsort(np.abs(points[:, 0] - middle))[:in_view]
        seen.append((points[near] - place) @ rotation.T)
        names.extend([str(index)] * in_view)
        labels.extend(str(target) for target in near)
    clean = np.vstack(seen)
    covariances = NOISE.covariances(clean)
    factor = np.linalg.cholesky(covariances)
    noise = np.einsum("nij,nj->ni", factor, random.normal(size=clean.shape))
    return make_exposures(names, labels, clean + noise, covariances_mm2=covariances)


def sparse_floor(frame: Frame) -> float:
    """Return the seconds of the bare factorisations and back-substitutions."""
    used = frame.exposures
    state = State(frame.rotations, frame.translations, frame.points_mm, frame.scales)
    normal = build_normal(
        used, state, whitening(used.covariances_mm2), frame.system, with_scale=False
    )
    size = len(normal.matrix)
    # A trifle on the diagonal stands for the datum, without which it is singular.
    weight = 1e-9 * float(np.trace(normal.matrix)) / size
    matrix = csc_array(normal.matrix) + weight * identity(size, format="csc")
    columns = np.eye(size)
    start = time.perf_counter()
    for _ in range(ITERATIONS):
        splu(matrix, permc_spec="MMD_AT_PLUS_A").solve(normal.right)
    splu(matrix, permc_spec="MMD_AT_PLUS_A").solve(columns)
    return time.perf_counter() - start


def solved(exposures: Exposures) -> tuple[Frame, float]:
    """Return the frame and the seconds that it took."""
    start = time.perf_counter()
    frame = solve_frame(exposures)
    return frame, time.perf_counter() - start


def main(tiny: bool = False) -> dict[str, float]:
    """Print and return the figures; the full run holds the ratio."""
    targets, most = (120, 120) if tiny else (1000, 1000)
    in_view = 30 if tiny else 60
    # As many exposures as still tie all targets together.
    few, few_taken = solved(long_part(targets, most // 10, in_view))
    frame, taken = solved(long_part(targets, most))
    floor = sparse_floor(frame)
    ratio = taken / floor
    print(  # noqa: T201 (a benchmark prints)
        f"{len(frame.target_names)} targets, {len(frame.exposures.exposure_names)} "
        f"exposures, {len(frame.exposures)} sightings: solved in {taken:.2f} s, bare "
        f"sparse algebra {floor:.2f} s, ratio {ratio:.2f} (at most "
        f"{MOST_TIMES_SPARSE:g} asked for)"
    )
    growth = taken / few_taken
    print(  # noqa: T201
        f"{len(few.exposures.exposure_names)} exposures ({len(few.exposures)} "
        f"sightings) took {few_taken:.2f} s: ten times the exposures cost "
        f"{growth:.1f} times as much"
    )
    if not tiny:
        assert ratio <= MOST_TIMES_SPARSE, ratio
    return {"network": ratio, "growth": growth}


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--tiny", action="store_true", help="a run of a second")
    main(tiny=parser.parse_args().tiny)
