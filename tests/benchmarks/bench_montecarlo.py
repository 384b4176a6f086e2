"""Monte Carlo of ten inputs at a million draws, over the drawing of the numbers.

Ten inputs (6 normal, 2 t, 2 rectangular), a model with every one of them in it, and
the summary with its shortest interval. The floor is the bare drawing of the same ten
million numbers by numpy, in the same blocks. Wanted: a ratio of at most 3.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Callable

import numpy as np

from lab.metrology.uncertainty import (
    Budget,
    Input,
    MonteCarlo,
    Normal,
    Rectangular,
    StudentT,
    propagate,
)

LIMIT = 3.0
BLOCK = 10_000


def budget() -> Budget:
    """A length at 20 °C with scale, noise, drift and coating: ten inputs."""
    return Budget(
        "length at 20 °C",
        [
            Input("length", 800.0, Normal(0.004)),
            Input("scale", 0.0, Normal(5e-6)),
            Input("expansion", 23.1e-6, Normal(1.2e-6)),
            Input("temperature", 21.4, Normal(0.15)),
            Input("frame", 0.0, Normal(0.006)),
            Input("coat", 0.008, Normal(0.002)),
            Input("first end", 0.0, StudentT(0.003, 4.0)),
            Input("second end", 0.0, StudentT(0.003, 6.0)),
            Input("drift", 0.0, Rectangular(0.005)),
            Input("field", 0.0, Rectangular(0.008)),
        ],
        model=lambda x: (
            (x["length"] + x["first end"] - x["second end"])
            * (1.0 + x["scale"] - x["expansion"] * (x["temperature"] - 20.0))
            - 2.0 * x["coat"]
            + x["frame"]
            + x["drift"]
            + x["field"]
        ),
        unit="mm",
    )


def draw_only(trials: int) -> None:
    """Draw the numbers and do nothing with them."""
    generator = np.random.default_rng(1)
    for start in range(0, trials, BLOCK):
        count = min(BLOCK, trials - start)
        for _ in range(6):
            generator.standard_normal(count)
        generator.standard_t(4.0, count)
        generator.standard_t(6.0, count)
        for _ in range(2):
            generator.random(count)


def best_of(rounds: int, run: Callable[[], object]) -> float:
    """Return the shortest of a few runs, in seconds."""
    times = []
    for _ in range(rounds):
        start = time.perf_counter()
        run()
        times.append(time.perf_counter() - start)
    return min(times)


def main(tiny: bool = False) -> float:
    """Print the ratio and return it."""
    trials = 20_000 if tiny else 1_000_000
    rounds = 2 if tiny else 5
    whole = budget()

    def run() -> MonteCarlo:
        return propagate(whole, seed=1, trials=trials)

    floor = best_of(rounds, lambda: draw_only(trials))
    taken = best_of(rounds, run)
    ratio = taken / floor
    print(  # noqa: T201 (a benchmark prints)
        f"Monte Carlo, 10 inputs, {trials} draws: {taken * 1e3:.0f} ms, drawing alone "
        f"{floor * 1e3:.0f} ms, ratio {ratio:.2f} (wanted: at most {LIMIT:g})"
    )
    return ratio


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--tiny", action="store_true", help="a run of a second")
    main(tiny=parser.parse_args().tiny)
