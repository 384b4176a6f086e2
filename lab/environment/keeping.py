"""How readings join the rows of their hours, inside a caller's transaction.

The sensor's row is locked first, so that of two who write the same hour the second
finds what the first kept. Only hours that gain a reading are written.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from lab.environment.models import ReadingHour
from lab.environment.noting import note_new_readings
from lab.environment.times import instant_of
from lab.equipment.models import Device
from lab.metrology.environment.envelopes import pack_envelope
from lab.metrology.environment.packing import (
    HOUR_US,
    merged_readings,
    pack_readings,
    unpack_readings,
)

Times = NDArray[np.int64]
Values = NDArray[np.float64]
CHUNK: Final = 500
#: How many conflicts the audit names; the count covers all.
NAMED: Final = 20
KEY: Final = ["sensor", "quantity", "hour"]
KEPT: Final = ["count", "lowest", "highest", "mean", "block", "envelope"]


@dataclass(frozen=True, slots=True)
class Conflict:
    """A reading that was refused: its instant holds another value."""

    time_us: int
    kept: float
    refused: float


@dataclass(frozen=True, slots=True)
class Stored:
    """What became of a batch. Its readings are added + repeated + conflicts."""

    added: int
    repeated: int
    conflicts: tuple[Conflict, ...]

    def in_words(self) -> dict[str, Any]:
        """Return what the audit says of it."""
        named = [
            f"{instant_of(one.time_us).isoformat()}: kept {one.kept!r}, "
            f"refused {one.refused!r}"
            for one in self.conflicts[:NAMED]
        ]
        counts = {"added": self.added, "repeated": self.repeated}
        if not self.conflicts:
            return counts
        return counts | {"conflicts": len(self.conflicts), "first conflicts": named}


def keep(
    sensor: Device,
    quantity: str,
    times: Times,
    values: Values,
    *,
    is_noted: bool = False,
) -> Stored:
    """Add readings to the hours of a channel; the caller's transaction holds them.

    Whoever has noted the span of new readings already says so.
    """
    # Keys that point at the device are not held up by this lock.
    Device.objects.select_for_update(no_key=True).get(pk=sensor.pk)
    kept_times, kept_values = kept_beside(sensor.pk, quantity, times)
    merged = merged_readings(kept_times, kept_values, times, values)
    changed = np.unique(times[merged.is_fresh] // HOUR_US)
    rows = packed_hours(merged.times_us, merged.values, changed)
    write_hours([ReadingHour(sensor=sensor, quantity=quantity, **r) for r in rows])
    if merged.added and not is_noted:
        fresh = times[merged.is_fresh]
        note_new_readings(
            sensor, instant_of(int(fresh.min())), instant_of(int(fresh.max()))
        )
    conflicts = zip(
        times[merged.conflicting].tolist(),
        merged.kept.tolist(),
        values[merged.conflicting].tolist(),
        strict=True,
    )
    return Stored(merged.added, merged.repeated, tuple(Conflict(*c) for c in conflicts))


def kept_beside(sensor_pk: int, quantity: str, times: Times) -> tuple[Times, Values]:
    """Return what is kept in all hours that the instants lie in."""
    hours = np.unique(times // HOUR_US).tolist()
    found = ReadingHour.objects.filter(sensor_id=sensor_pk, quantity=quantity)
    blocks: list[bytes | memoryview[int]] = []
    for start in range(0, len(hours), CHUNK):
        rows = found.filter(hour__in=hours[start : start + CHUNK])
        blocks += rows.order_by("hour").values_list("block", flat=True)
    return unpacked(blocks)


def unpacked(blocks: Iterable[bytes | memoryview[int]]) -> tuple[Times, Values]:
    """Return the readings of blocks in the order of time as one series."""
    parts = [unpack_readings(bytes(block)) for block in blocks]
    if not parts:
        return np.zeros(0, np.int64), np.zeros(0)
    return (
        np.concatenate([times for times, _ in parts]),
        np.concatenate([values for _, values in parts]),
    )


def packed_hours(
    times: Times, values: Values, hours: NDArray[np.int64]
) -> Iterator[dict[str, Any]]:
    """Yield the columns of each of the hours named, from readings in order."""
    starts = np.searchsorted(times, hours * HOUR_US).tolist()
    ends = np.searchsorted(times, (hours + 1) * HOUR_US).tolist()
    for hour, start, end in zip(hours.tolist(), starts, ends, strict=True):
        own_times, own_values = times[start:end], values[start:end]
        yield {
            "hour": hour,
            "count": end - start,
            "lowest": float(own_values.min()),
            "highest": float(own_values.max()),
            "mean": float(own_values.mean()),
            "block": pack_readings(own_times, own_values),
            "envelope": pack_envelope(hour, own_times, own_values),
        }


def write_hours(rows: list[ReadingHour]) -> None:
    """Insert hours, or put them in the place of what stood there."""
    ReadingHour.objects.bulk_create(
        rows,
        batch_size=CHUNK,
        update_conflicts=True,
        unique_fields=KEY,
        update_fields=KEPT,
    )
