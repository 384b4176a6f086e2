"""A chart of a month at a reading a second, and of ten years at one a minute.

Prints how long the server takes for a chart over how long the bare fetch of the rows
of its readings takes, and how many bytes are sent; ends with 1 where a ratio is
above 3 or the page above 200 kB.

    .venv/bin/python tests/benchmarks/bench_charts.py [--tiny]
"""

from __future__ import annotations

import os
import sys
import tempfile
import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np

MOST_RATIO, MOST_BYTES = 3.0, 200_000
END = datetime(2026, 3, 17, tzinfo=UTC)


def main() -> int:
    is_tiny = "--tiny" in sys.argv
    sys.path.insert(0, str(Path(__file__).parents[2]))
    with tempfile.TemporaryDirectory() as folder:
        os.environ |= {
            "UNBROKEN_DATA": folder,
            "DJANGO_SETTINGS_MODULE": "lab.settings",
        }
        import django

        django.setup()
        from django.core.management import call_command

        call_command("migrate", verbosity=0)
        by_second, by_minute = _fill(is_tiny)
        wrong = _measured("30 days at 1 Hz", by_second)
        words = "one year" if is_tiny else "ten years"
        wrong |= _measured(f"{words} at one a minute", by_minute)
    return int(wrong)


def _fill(is_tiny: bool) -> tuple[Any, Any]:
    """Fill one room by the second and one by the minute, for a year if tiny."""
    from django.db import transaction

    from lab.common.actors import PROGRAM
    from lab.environment.keeping import keep
    from lab.environment.models import AirQuantity, NewReadings
    from lab.environment.services import place_sensor
    from lab.environment.times import us_of
    from lab.equipment.models import Device
    from lab.laboratory.climate import Limits
    from lab.laboratory.services import Identity, add_room, add_site, set_up_laboratory
    from lab.metrology.units import Quantity

    address = "3 Sluice Road\nPort Ennis PE4 2SD"
    set_up_laboratory(
        identity=Identity(
            name="Saltmarsh Dimensional",
            address=address,
            email="desk@saltmarsh.example",
            phone="+44 1632 960140",
            time_zone="Europe/London",
        ),
        acting_user=PROGRAM,
    )
    site = add_site(
        name="Sluice Road",
        address=address,
        time_zone="Europe/London",
        acting_user=PROGRAM,
    )
    limits = Limits(
        temperature_lowest=Quantity("18", "°C"),
        temperature_highest=Quantity("22", "°C"),
    )
    share = 10 if is_tiny else 1
    plans = (
        ("Dense", timedelta(days=30), timedelta(seconds=1)),
        ("Long", timedelta(days=3652) / share, timedelta(minutes=1)),
    )
    made = []
    for name, length, step in plans:
        room = add_room(site=site, name=name, limits=limits, acting_user=PROGRAM)
        sensor = Device.objects.create(
            tag=f"LG-{name}", kind="logger", name=name, serial=name
        )
        start = END - length
        place_sensor(sensor=sensor, room=room, since=start, acting_user=PROGRAM)
        count = int(length / step)
        times = us_of(start) + np.arange(count) * (step // timedelta(microseconds=1))
        dice = np.random.default_rng(5)
        values = np.round(20 + np.cumsum(dice.normal(0, 0.01, count)) % 1, 2)
        for first in range(0, count, 200_000):
            part = slice(first, first + 200_000)
            with transaction.atomic():
                keep(sensor, AirQuantity.TEMPERATURE, times[part], values[part])
        made.append((room, sensor, start))
    NewReadings.objects.all().delete()
    return made[0], made[1]


def _measured(words: str, stage: Any) -> bool:
    from django.template.loader import render_to_string

    from lab.environment.charting import chart_of
    from lab.environment.models import AirQuantity, ReadingHour
    from lab.environment.stretches import Stretch

    room, sensor, start = stage
    rows = ReadingHour.objects.filter(sensor=sensor).order_by("hour")

    def fetch() -> int:
        return len(list(rows.values_list()))

    def draw() -> int:
        chart = chart_of(room, AirQuantity.TEMPERATURE, Stretch(start, END))
        if chart is None:
            raise RuntimeError("Nothing was drawn.")
        svg = render_to_string("pieces/chart.html", {"picture": chart.picture})
        return len(svg.encode())

    bare, drawn, sent = _best(fetch), _best(draw), draw()
    ratio = drawn / bare
    print(  # noqa: T201
        f"{words}: {fetch()} rows fetched in {1000 * bare:.0f} ms, drawn in "
        f"{1000 * drawn:.0f} ms, ratio {ratio:.2f}, {sent / 1000:.0f} kB"
    )
    return ratio > MOST_RATIO or sent > MOST_BYTES


def _best(act: Callable[[], object], times: int = 5) -> float:
    took = []
    for _ in range(times):
        # Of this process alone, which holds the database: others don't count.
        start = time.process_time()
        act()
        took.append(time.process_time() - start)
    return min(took)


if __name__ == "__main__":
    sys.exit(main())
