"""Plane, sphere and cylinder through a million points, over a plain least squares.

The floor is `numpy.linalg.lstsq` on a million rows of four columns in the same run.
Wanted: plane at most 3, sphere 10, cylinder 25 times as long.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Callable

import numpy as np

from lab.metrology.fits import fit_cylinder, fit_plane, fit_sphere

LIMITS = {"plane": 3.0, "sphere": 10.0, "cylinder": 25.0}


def best_of(rounds: int, run: Callable[[], object]) -> float:
    """Return the shortest of a few runs, in seconds."""
    times = []
    for _ in range(rounds):
        start = time.perf_counter()
        run()
        times.append(time.perf_counter() - start)
    return min(times)


def features(count: int) -> dict[str, tuple[Callable[..., object], np.ndarray]]:
    """Return each fit with points of 0.02 mm noise, a metre from the origin."""
    random = np.random.default_rng(1)
    noise = 0.02 * random.normal(size=count)
    plane = np.column_stack([random.uniform(0, 800, (count, 2)), noise])
    ball = random.normal(size=(count, 3))
    ball *= ((25.0 + noise) / np.linalg.norm(ball, axis=1))[:, np.newaxis]
    angle = random.uniform(0, 4.0, count)
    tube = np.column_stack(
        [
            (20.0 + noise) * np.cos(angle),
            (20.0 + noise) * np.sin(angle),
            random.uniform(0, 100, count),
        ]
    )
    turn = np.linalg.qr(random.normal(size=(3, 3)))[0]
    return {
        "plane": (fit_plane, plane @ turn.T + 1000.0),
        "sphere": (fit_sphere, ball + 1000.0),
        "cylinder": (fit_cylinder, tube @ turn.T + 1000.0),
    }


def main(tiny: bool = False) -> dict[str, float]:
    """Print the ratios and return them."""
    count = 20_000 if tiny else 1_000_000
    rounds = 2 if tiny else 5
    random = np.random.default_rng(2)
    rows, values = random.normal(size=(count, 4)), random.normal(size=count)
    ratios = {}
    for name, (fit, points) in features(count).items():
        # The floor is measured beside each fit: the machine may be busy.
        floor = best_of(rounds, lambda: np.linalg.lstsq(rows, values, rcond=None))
        taken = best_of(rounds, lambda fit=fit, points=points: fit(points))
        ratios[name] = taken / floor
        wanted = "" if tiny else f" (wanted: at most {LIMITS[name]:g})"
        print(  # noqa: T201 (a benchmark prints)
            f"{name} through {count} points: {taken * 1e3:.0f} ms, plain least squares "
            f"{floor * 1e3:.0f} ms, ratio {ratios[name]:.2f}{wanted}"
        )
    return ratios


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--tiny", action="store_true", help="a run of a second")
    main(tiny=parser.parse_args().tiny)
