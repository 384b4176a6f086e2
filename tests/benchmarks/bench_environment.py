"""How long a million readings take, as multiples of sorting them once.

Run as ``python -m tests.benchmarks.bench_environment``, with ``--tiny`` for a
quick look. The floor is measured in the same run, so that the figures can be
compared between machines.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable

import numpy as np

from lab.metrology.environment import (
    Band,
    Readings,
    Window,
    conditions_over,
    ordered_readings,
    picture_of,
    rate_of_change,
)

STEP_S = 120.0


def seconds(work: Callable[[], object], times: int = 5) -> float:
    """Return the least time of several runs."""
    spent = []
    for _ in range(times):
        start = time.perf_counter()
        work()
        spent.append(time.perf_counter() - start)
    return min(spent)


def log_of(count: int) -> tuple[np.ndarray, np.ndarray]:
    """Make a jittery log of one reading a minute with a gap every ten thousand."""
    random = np.random.default_rng(1)
    steps = random.uniform(55.0, 65.0, count)
    steps[::10_000] += 7200.0
    times = 1.7e9 + np.cumsum(steps)
    daily = 0.6 * np.sin(2 * np.pi * times / 86_400.0)
    return times, 20.0 + daily + random.normal(0.0, 0.02, count)


def main(tiny: bool = False) -> None:
    """Print each task's time and its ratio to one sort of the shuffled times."""
    count = 20_000 if tiny else 1_000_000
    times, values = log_of(count)
    shuffled = np.random.default_rng(2).permutation(count)
    room = Readings(times, values)
    window, band = [Window(times[0], times[-1])], Band(19.5, 20.5)
    floor = seconds(lambda: np.sort(times[shuffled]))
    say = sys.stdout.write
    say(f"{count} readings; floor, one sort: {floor * 1e3:.1f} ms\n")
    tasks: dict[str, Callable[[], object]] = {
        "order shuffled readings": lambda: ordered_readings(
            times[shuffled], values[shuffled]
        ),
        "rate of change over 60 min": lambda: rate_of_change(room, STEP_S),
        "mean, share inside, excursions": lambda: conditions_over(
            room, window, STEP_S, band
        ),
        "picture of 2,000 columns": lambda: picture_of(room, 2000, STEP_S),
    }
    for name, work in tasks.items():
        spent = seconds(work)
        say(f"{name:32} {spent * 1e3:8.1f} ms {spent / floor:7.2f} times the floor\n")


if __name__ == "__main__":
    main(tiny="--tiny" in sys.argv)
