"""Reading out what loggers gave: exact, as envelopes, and by the hour.

All windows are half-open: start included, end not. Values are raw, as the sensor gave
them; whoever states a temperature corrects them first by what
:func:`lab.environment.selectors.corrections` gives.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

import numpy as np
from django.db.models import QuerySet
from numpy.typing import NDArray

from lab.environment.keeping import Times, Values, unpacked
from lab.environment.models import ReadingHour
from lab.environment.times import us_of
from lab.equipment.models import Device
from lab.metrology.environment.envelopes import (
    Envelope,
    envelope_of,
    unpack_envelopes,
)
from lab.metrology.environment.packing import HOUR_US, MINUTE_US, unpack_readings


@dataclass(frozen=True, slots=True, eq=False)
class HourSummaries:
    """Hours in which there are readings: start, how many, extremes, mean."""

    starts_us: NDArray[np.int64]
    counts: NDArray[np.int64]
    lowest: NDArray[np.float64]
    highest: NDArray[np.float64]
    means: NDArray[np.float64]


def readings(
    sensor: Device, quantity: str, start: datetime, end: datetime
) -> tuple[Times, Values]:
    """Return the readings of a channel in a window: µs since 1970 and raw values."""
    rows = _hours(sensor, quantity, start, end).values_list("block", flat=True)
    times, values = unpacked(rows)
    low, high = np.searchsorted(times, [us_of(start), us_of(end)])
    return times[low:high], values[low:high]


def envelope(sensor: Device, quantity: str, start: datetime, end: datetime) -> Envelope:
    """Return lowest, highest and mean of each whole minute that the window touches.

    For pictures only; see :mod:`lab.metrology.environment.envelopes`.
    """
    dense: tuple[list[int], list[bytes]] = ([], [])
    # A block is read only where no envelope stands beside it: most of the bytes of a
    # dense archive stay where they are.
    wanted = _hours(sensor, quantity, start, end)
    for hour, packed in wanted.exclude(envelope=b"").values_list("hour", "envelope"):
        dense[0].append(hour)
        dense[1].append(bytes(packed))
    sparse = unpacked(wanted.filter(envelope=b"").values_list("block", flat=True))
    parts = [unpack_envelopes(*dense), envelope_of(*sparse)]
    starts = np.concatenate([part.starts_us for part in parts])
    first = us_of(start) // MINUTE_US * MINUTE_US
    order = np.argsort(starts, kind="stable")
    order = order[(starts[order] >= first) & (starts[order] < us_of(end))]
    return Envelope(
        starts[order],
        np.concatenate([part.lowest for part in parts])[order],
        np.concatenate([part.highest for part in parts])[order],
        np.concatenate([part.means for part in parts])[order],
    )


def hour_summaries(
    sensor: Device, quantity: str, start: datetime, end: datetime
) -> HourSummaries:
    """Return count, extremes and mean of each whole hour that the window touches."""
    rows = list(
        _hours(sensor, quantity, start, end).values_list(
            "hour", "count", "lowest", "highest", "mean"
        )
    )
    hours, counts, lowest, highest, means = (
        zip(*rows, strict=True) if rows else ((),) * 5
    )
    return HourSummaries(
        np.array(hours, np.int64) * HOUR_US,
        np.array(counts, np.int64),
        np.array(lowest, np.float64),
        np.array(highest, np.float64),
        np.array(means, np.float64),
    )


def newest_reading(
    sensor: Device, quantity: str, before: datetime
) -> tuple[int, float] | None:
    """Return the last reading before an instant, or None if there is none."""
    limit = us_of(before)
    rows = ReadingHour.objects.filter(
        sensor=sensor, quantity=quantity, hour__lte=limit // HOUR_US
    ).order_by("-hour")
    # The newest hour may hold later readings only; the one before then has the last.
    for block in rows.values_list("block", flat=True)[:2]:
        times, values = unpack_readings(bytes(block))
        place = int(np.searchsorted(times, limit))
        if place:
            return int(times[place - 1]), float(values[place - 1])
    return None


def _hours(
    sensor: Device, quantity: str, start: datetime, end: datetime
) -> QuerySet[ReadingHour]:
    return ReadingHour.objects.filter(
        sensor=sensor,
        quantity=quantity,
        hour__gte=us_of(start) // HOUR_US,
        hour__lt=-(-us_of(end) // HOUR_US),
    ).order_by("hour")
