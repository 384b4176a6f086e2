"""What bracketing costs, as ratios to a floor measured in the same run.

Run it with ``python -m tests.benchmarks.bench_bracketing``, or with ``--tiny`` to see
in a few seconds that it runs.
"""

from __future__ import annotations

import argparse
import gc
import sys
import time
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np

from lab.metrology.bracketing import (
    Book,
    Check,
    Procedure,
    Segment,
    Session,
    judge_all,
    tabulate,
)
from lab.metrology.bracketing.facts import microseconds
from lab.metrology.bracketing.tables import (
    BreakTable,
    CheckTable,
    SegmentTable,
    Tabulated,
)

START = datetime(2005, 1, 3, 7, tzinfo=UTC)
HOUR = 3_600_000_000
SYSTEMS = 4


def best(run: Callable[[], object], repeats: int) -> float:
    """Return the shortest of several times, in seconds."""
    shortest = float("inf")
    for _ in range(repeats):
        gc.collect()
        begun = time.perf_counter()
        run()
        shortest = min(shortest, time.perf_counter() - begun)
    return shortest


def archive(count: int) -> Tabulated:
    """Return `count` sessions and as many checks on four systems, in order of time.

    Each session is an hour and a half long, with a check of ten minutes before it. Of
    a hundred, one check failed, one session runs over the next check and one is
    followed by a break.
    """
    random = np.random.default_rng(4)
    system = np.repeat(np.arange(SYSTEMS), count // SYSTEMS)
    turn = np.tile(np.arange(count // SYSTEMS), SYSTEMS)
    begun = microseconds(START) + turn * 3 * HOUR
    check_start = begun + random.integers(0, HOUR // 6, count)
    start = check_start + HOUR // 6 + random.integers(1, HOUR // 2, count)
    longer = random.random(count) < 0.01
    end = start + np.where(longer, 4 * HOUR, HOUR + HOUR // 2)
    broken = random.random(count) < 0.01
    procedures = {
        f"system {number}": [Procedure("bar", timedelta(hours=24), timedelta(hours=12))]
        for number in range(SYSTEMS)
    }
    return replace(
        tabulate([], procedures, [], []),
        segments=SegmentTable(np.arange(count), system, start, end),
        checks=CheckTable(
            system, check_start, check_start + HOUR // 6, random.random(count) > 0.01
        ),
        breaks=BreakTable(system[broken], end[broken] + HOUR // 4),
    )


def full_form(heap: str, count: int, repeats: int) -> None:
    """Print the cost of judging everything against that of one binary search."""
    tables = archive(count)
    now = int(tables.segments.end.max()) + HOUR
    # The floor: as many sorted instants looked up in as many sorted ones.
    instants = np.sort(tables.checks.start)
    wanted = np.sort(tables.segments.start)
    floor = best(lambda: np.searchsorted(instants, wanted), repeats)
    whole = best(lambda: judge_all(tables, now), repeats)
    found = len(judge_all(tables, now).findings.session)
    print(  # noqa: T201
        f"full, {heap} heap: {count} sessions x {count} checks, {found} findings: "
        f"{whole * 1e3:.1f} ms, one searchsorted {floor * 1e3:.2f} ms, "
        f"ratio {whole / floor:.1f} (at most 20)"
    )


def book_of(count: int) -> Book:
    """Return a book with `count` sessions, each after a check of its own."""
    book = Book(
        {"system": [Procedure("bar", timedelta(hours=24), timedelta(hours=12))]}
    )
    step, hour = timedelta(hours=3), timedelta(hours=1)
    book.load(
        (
            Session(
                f"s{n}", "system", (Segment(START + n * step, START + n * step + hour),)
            )
            for n in range(count)
        ),
        (
            Check(
                f"c{n}",
                "system",
                "bar",
                START + n * step - hour / 2,
                START + n * step - hour / 3,
                passed=True,
            )
            for n in range(count)
        ),
    )
    return book


def one_event(count: int, events: int) -> float:
    """Return the time of recording one check in the midst of `count` sessions."""
    book = book_of(count)
    gc.collect()
    gc.freeze()
    step = timedelta(hours=3)
    now = START + count * step
    places = np.random.default_rng(5).integers(10, count - 10, events)
    spent = []
    for number, place in enumerate(places.tolist()):
        start = START + place * step + timedelta(hours=2)
        check = Check(f"x{number}", "system", "bar", start, start, number % 2 == 0)
        begun = time.perf_counter()
        judged = book.record_check(check, now)
        spent.append(time.perf_counter() - begun)
        if not judged:
            raise SystemExit("The event reached no session.")
    gc.unfreeze()
    return float(np.median(spent))


def incremental_form(small: int, large: int, events: int) -> None:
    """Print the cost of one event in a small archive and in a large one."""
    few, many = one_event(small, events), one_event(large, events)
    print(  # noqa: T201
        f"incremental: one check among {small} sessions {few * 1e6:.0f} us, "
        f"among {large} {many * 1e6:.0f} us, ratio {many / few:.2f} (under 2)"
    )


def main(tiny: bool = False) -> None:
    """Run both benchmarks."""
    count, repeats = (2_000, 3) if tiny else (100_000, 15)
    full_form("cold", count, repeats)
    # The C library hands freed memory back to the system until larger pieces than
    # these arrays have come and gone, and half of the time is spent on getting it
    # again. A process that has lived for a while is past that.
    np.ones(3_500_000)
    full_form("warm", count, repeats)
    incremental_form(
        1_000 if tiny else 10_000, 10_000 if tiny else 1_000_000, 50 if tiny else 1_000
    )


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--tiny", action="store_true")
    main(parser.parse_args().tiny)
    sys.exit(0)
