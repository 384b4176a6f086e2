"""Commits a second with and without an audit entry, by one and by eight writers.

``DATABASE_URL`` names a PostgreSQL server for the figures that matter; without it the
run is on SQLite in a temporary folder, where one writer writes at a time.
"""

from __future__ import annotations

import os
import sys
import tempfile
import threading
import time
from collections.abc import Callable

WRITERS = (1, 8)


def main(*, tiny: bool) -> None:
    os.environ.setdefault("UNBROKEN_DATA", tempfile.mkdtemp())
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "lab.settings")
    import django

    django.setup()
    from django.core.management import call_command
    from django.db import connection, transaction

    from lab.common import audit
    from lab.common.actors import PROGRAM
    from lab.common.models import NumberSeries

    call_command("migrate", "common", verbosity=0)
    subject = NumberSeries(pk=0, series="bench", year=2026)

    def plain(turn: int) -> None:
        with transaction.atomic():
            NumberSeries.objects.create(
                series=f"bench{turn}", year=time.time_ns() % 999
            )

    def audited(turn: int) -> None:
        with transaction.atomic():
            NumberSeries.objects.create(
                series=f"audit{turn}", year=time.time_ns() % 999
            )
            audit.record("bench.written", subject, actor=PROGRAM)

    count = 40 if tiny else 800
    say = sys.stdout.write
    for writers in WRITERS:
        without = rate(plain, writers, count)
        with_audit = rate(audited, writers, count)
        say(
            f"{connection.vendor}, {writers} writer(s): {without:.0f} commits/s, "
            f"{with_audit:.0f} with audit, ratio {without / with_audit:.2f}\n"
        )
    begun = time.perf_counter()
    sealed = audit.seal_all()
    say(f"sealed {sealed} entries in {time.perf_counter() - begun:.2f} s\n")
    assert audit.verify().ok


def rate(write: Callable[[int], None], writers: int, count: int) -> float:
    """Return how many commits a second some writers make together."""
    from django.db import connections

    def run(first: int) -> None:
        for turn in range(count // writers):
            write(time.time_ns() + first + turn)
        connections.close_all()

    threads = [threading.Thread(target=run, args=(n,)) for n in range(writers)]
    begun = time.perf_counter()
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return count / (time.perf_counter() - begun)


if __name__ == "__main__":
    main(tiny="--tiny" in sys.argv)
