"""A room's readings as rows of a table: as the sensors gave them, and corrected.

A stretch of up to a month is given reading by reading, a longer one hour by hour.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime, timedelta
from typing import Final

import numpy as np

from lab.common.files.csvout import Cell
from lab.environment.models import AirQuantity
from lab.environment.selectors.corrected import stretches_of
from lab.environment.selectors.corrections import corrections
from lab.environment.selectors.readings import hour_summaries, readings
from lab.environment.selectors.sensors import Stay, sensors_in
from lab.environment.stretches import Stretch
from lab.environment.times import instant_of
from lab.laboratory.models import Room

BY_READINGS: Final = timedelta(days=31)
HEADER: Final = (
    "At, UTC",
    "Sensor",
    "Quantity",
    "Unit",
    "Readings",
    "As given",
    "Corrected",
    "Lowest as given",
    "Highest as given",
)


def rows_of(room: Room, stretch: Stretch) -> Iterator[tuple[Cell, ...]]:
    """Yield a room's readings of a stretch, sensor by sensor in the order of time.

    Where no calibration states corrections, the corrected value is left empty.
    """
    for stay in sensors_in(room, stretch.start, stretch.end):
        for quantity in AirQuantity:
            end = min(stay.end or stretch.end, stretch.end)
            for first, last in stretches_of(stay.sensor, stay.start, end):
                yield from _rows(stay, quantity, first, last, stretch.length)


def _rows(
    stay: Stay,
    quantity: AirQuantity,
    first: datetime,
    last: datetime,
    length: timedelta,
) -> Iterator[tuple[Cell, ...]]:
    if length <= BY_READINGS:
        times, values = readings(stay.sensor, quantity, first, last)
        counts, lowest, highest = np.ones(len(times), np.int64), values, values
    else:
        found = hour_summaries(stay.sensor, quantity, first, last)
        times, values, counts = found.starts_us, found.means, found.counts
        lowest, highest = found.lowest, found.highest
    table = corrections(stay.sensor, quantity, first)
    added = (
        None
        if table is None
        else values + np.interp(values, table.readings, table.corrections)
    )
    for number, time_us in enumerate(times.tolist()):
        yield (
            instant_of(time_us),
            stay.sensor.tag,
            quantity.label,
            quantity.unit,
            int(counts[number]),
            round(float(values[number]), 6),
            None if added is None else round(float(added[number]), 4),
            float(lowest[number]),
            float(highest[number]),
        )
