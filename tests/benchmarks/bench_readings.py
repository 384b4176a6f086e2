"""A million readings from a file to stored and visible, against merely parsing them.

The reference reads the same file with csv.reader, datetime.fromisoformat and float.
Processor time is compared, so that a busy machine doesn't decide. Besides: a late
reading in a small and in a large archive, and bytes a reading. ``DATABASE_URL`` names
a PostgreSQL server; without it SQLite in a temporary folder is used.
"""

from __future__ import annotations

import csv
import os
import random
import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

#: The most that an import may take, in parsings; not held on a tiny file, of which
#: fixed costs are the most.
MOST = 3.0
MOST_LATE = 3.0
START = datetime(2026, 1, 1, tzinfo=UTC)


def main(*, tiny: bool) -> None:
    folder = tempfile.mkdtemp()
    os.environ.setdefault("UNBROKEN_DATA", folder)
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "lab.settings")
    import django

    django.setup()
    from django.core.management import call_command

    call_command("migrate", verbosity=0)
    from lab.common.work.kinds import all_kinds

    found_laboratory()
    all_kinds()  # a worker has loaded every app before it reads its first file
    count = 20_000 if tiny else 1_000_000
    path = Path(folder) / "log.csv"
    write_log(path, count)
    begun = time.process_time()
    parsed = parse(path)
    reference_s = time.process_time() - begun
    begun = time.process_time()
    seen = import_and_read(path)
    import_s = time.process_time() - begun
    assert seen == parsed == count, (seen, parsed)
    ratio = import_s / reference_s
    say = sys.stdout.write
    say(
        f"{count} readings: parsed in {reference_s:.2f} s, imported, checked and read "
        f"out in {import_s:.2f} s, ratio {ratio:.2f}\n"
    )
    say(f"{bytes_stored() / count:.2f} bytes a reading\n")
    late(say, hours=200 if tiny else 20_000)
    assert tiny or ratio <= MOST, ratio


def found_laboratory() -> None:
    from lab.common.actors import PROGRAM
    from lab.laboratory.services import Identity, set_up_laboratory

    identity = Identity(
        name="Saltmarsh Dimensional",
        address="3 Sluice Road\nPort Ennis PE4 2SD",
        email="desk@saltmarsh.example",
        phone="+44 1632 960140",
        time_zone="Europe/London",
    )
    set_up_laboratory(identity=identity, acting_user=PROGRAM)


def write_log(path: Path, count: int) -> None:
    dice, value = random.Random(0), 20.0
    with path.open("w") as out:
        out.write("time,temperature °C\n")
        for second in range(count):
            value += dice.gauss(0.0, 0.002) + (20.0 - value) * 1e-4
            out.write(f"{START + timedelta(seconds=second):%Y-%m-%d %H:%M:%S},")
            out.write(f"{value:.2f}\n")


def parse(path: Path) -> int:
    times, values = [], []
    with path.open(newline="") as lines:
        rows = csv.reader(lines)
        next(rows)
        for when, value in rows:
            times.append(datetime.fromisoformat(when))
            values.append(float(value))
    return len(values)


def import_and_read(path: Path) -> int:
    """Import as the worker does, and count what the archive then gives out."""
    from dataclasses import replace

    from lab.common.actors import PROGRAM
    from lab.common.files.store import store_file
    from lab.environment.importing import guess_of, import_readings
    from lab.environment.selectors import readings
    from lab.environment.services import begin_import, confirm_import
    from lab.equipment.models import Device

    logger = Device.objects.create(tag="LG-1", kind="logger", serial="1")
    with path.open("rb") as stream:
        stored = store_file(stream, name=path.name, kind="readings")
    taken = begin_import(
        file=stored, name=path.name, source_name="Bench", acting_user=PROGRAM
    )
    layout = guess_of(taken).layout
    channels = tuple(replace(one, sensor="LG-1") for one in layout.channels)
    layout = replace(layout, channels=channels, zone="UTC")
    confirm_import(reading_import=taken, layout=layout, acting_user=PROGRAM)
    import_readings(taken.pk)
    times, _ = readings(logger, "temperature", START, START + timedelta(days=60))
    return len(times)


def bytes_stored() -> int:
    """Return the size of the readings' rows with their index."""
    from django.db import connection

    from lab.environment.models import ReadingHour

    table = ReadingHour._meta.db_table
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute("SELECT pg_total_relation_size(%s)", [table])
        else:
            # One page table for the rows, and one for each index of the table.
            cursor.execute(
                "SELECT sum(pgsize) FROM dbstat WHERE name IN "
                "(SELECT name FROM sqlite_master WHERE tbl_name = %s)",
                [table],
            )
        return int(cursor.fetchone()[0])


def late(say: Callable[[str], Any], *, hours: int) -> None:
    """Add single readings to old hours of a small and of a large archive."""
    import numpy as np

    from lab.common.actors import PROGRAM
    from lab.environment.services import store_readings
    from lab.environment.times import us_of
    from lab.equipment.models import Device

    typical: dict[str, float] = {}
    for tag, size in (("LG-2", 100), ("LG-3", hours)):
        sensor = Device.objects.create(tag=tag, kind="logger", serial=tag)
        first = us_of(START) - size * 3_600_000_000
        times = first + np.arange(size * 6) * 600_000_000

        def keep(times: Any, values: Any, sensor: Device = sensor) -> None:
            store_readings(
                sensor=sensor,
                quantity="temperature",
                times_us=times,
                values=values,
                source="bench",
                acting_user=PROGRAM,
            )

        keep(times, np.full(len(times), 20.0))
        took = []
        for turn in range(20):
            begun = time.process_time()
            keep(times[turn * 17 : turn * 17 + 1] + 1, [20.1])
            took.append(time.process_time() - begun)
        typical[tag] = statistics.median(took)
    ratio = typical["LG-3"] / typical["LG-2"]
    say(
        f"a late reading: {1000 * typical['LG-2']:.1f} ms among 100 hours, "
        f"{1000 * typical['LG-3']:.1f} ms among {hours}, ratio {ratio:.2f}\n"
    )
    assert ratio <= MOST_LATE, ratio


if __name__ == "__main__":
    main(tiny="--tiny" in sys.argv)
