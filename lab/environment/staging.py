"""New readings of a file, put by channel and hour where nobody sees them yet.

Readings that the archive holds already are not staged, so that the same file once
more stages nothing. What the archive gains meanwhile is found when it is published.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, field
from typing import Final

import numpy as np
from django.db import connection
from django.db.models import Exists, OuterRef, QuerySet

from lab.environment.keeping import (
    Stored,
    Times,
    Values,
    keep,
    kept_beside,
    packed_hours,
    unpacked,
)
from lab.environment.logs.report import Report
from lab.environment.logs.walking import Series
from lab.environment.models import ReadingHour, ReadingImport, StagedHour
from lab.equipment.models import Device
from lab.metrology.environment.packing import HOUR_US, merged_readings, unpack_readings

#: Rows written in one transaction: SQLite lets others wait unfairly behind long ones.
CHUNK: Final = 250
KEY: Final = ["reading_import", "run", "sensor", "quantity", "hour"]
KEPT: Final = ["count", "lowest", "highest", "mean", "block", "envelope"]


@dataclass(slots=True)
class Stage:
    """Where one run of an import puts its readings."""

    reading_import: ReadingImport
    run: str
    report: Report
    sensors: dict[str, Device]
    known: int = 0
    hours: dict[tuple[int, str], set[int]] = field(
        default_factory=lambda: defaultdict(set)
    )

    def add(self, series: Series, name: str) -> None:
        """Stage what is new of a channel's readings; report the rest."""
        if not len(series.times_us):
            return
        sensor = self.sensors[series.channel.sensor]
        quantity = series.channel.quantity
        times, values = series.times_us, series.values
        rows = self._without_known(sensor, quantity, series, name)
        times, values, numbers = times[rows], values[rows], series.rows[rows]
        if not len(times):
            return
        before = self._staged_beside(sensor.pk, quantity, times)
        merged = merged_readings(*before, times, values)
        repeated = ~merged.is_fresh
        repeated[merged.conflicting] = False
        self._tell_conflicts(numbers, values, merged.conflicting, merged.kept, name)
        texts = [f"{value:g}" for value in values[repeated].tolist()]
        self.report.add_many("repeated", numbers[repeated].tolist(), name, texts)
        changed = np.unique(times[merged.is_fresh] // HOUR_US)
        self._write(sensor, quantity, merged.times_us, merged.values, changed)

    def _without_known(
        self, sensor: Device, quantity: str, series: Series, name: str
    ) -> Times:
        """Return the places of readings at instants that the archive doesn't hold."""
        times, values = series.times_us, series.values
        kept_times, kept_values = kept_beside(sensor.pk, quantity, times)
        if not len(kept_times):
            return np.arange(len(times))
        place = np.searchsorted(kept_times, times)
        place = np.minimum(place, len(kept_times) - 1)
        is_kept = kept_times[place] == times
        same = is_kept & (kept_values[place] == values)
        self.known += int(same.sum())
        wrong = np.flatnonzero(is_kept & ~same)
        kept = kept_values[place[wrong]]
        self._tell_conflicts(series.rows, values, wrong, kept, name)
        return np.flatnonzero(~is_kept)

    def _tell_conflicts(
        self, numbers: Times, values: Values, wrong: Times, kept: Values, name: str
    ) -> None:
        said = [
            f"kept {old:g}, refused {new:g}"
            for old, new in zip(kept.tolist(), values[wrong].tolist(), strict=True)
        ]
        self.report.add_many("conflict", numbers[wrong].tolist(), name, said)

    def _staged_beside(
        self, sensor_pk: int, quantity: str, times: Times
    ) -> tuple[Times, Values]:
        seen = self.hours[sensor_pk, quantity]
        again = sorted(seen.intersection(np.unique(times // HOUR_US).tolist()))
        rows = StagedHour.objects.filter(
            reading_import=self.reading_import,
            run=self.run,
            sensor_id=sensor_pk,
            quantity=quantity,
        )
        blocks: list[bytes | memoryview[int]] = []
        for start in range(0, len(again), CHUNK):
            found = rows.filter(hour__in=again[start : start + CHUNK]).order_by("hour")
            blocks += found.values_list("block", flat=True)
        return unpacked(blocks)

    def _write(
        self,
        sensor: Device,
        quantity: str,
        times: Times,
        values: Values,
        changed: Times,
    ) -> None:
        rows = [
            StagedHour(
                reading_import=self.reading_import,
                run=self.run,
                sensor=sensor,
                quantity=quantity,
                **columns,
            )
            for columns in packed_hours(times, values, changed)
        ]
        for start in range(0, len(rows), CHUNK):
            StagedHour.objects.bulk_create(
                rows[start : start + CHUNK],
                update_conflicts=True,
                unique_fields=KEY,
                update_fields=KEPT,
            )
        self.hours[sensor.pk, quantity].update(changed.tolist())


# --- From the stage into the archive --------------------------------------------------


@dataclass(slots=True)
class Published:
    """What of a stage became new in the archive."""

    added: int
    known: int
    merged: list[Stored]
    spans: list[tuple[Device, int, int]]


def publish(reading_import: ReadingImport, run: str) -> Published:
    """Move a stage into the archive, in the caller's transaction.

    Hours that the archive has no row for are copied by the database itself; the
    others, which are few, are merged reading by reading.
    """
    staged = StagedHour.objects.filter(reading_import=reading_import, run=run)
    keys = staged.values_list("sensor", flat=True).distinct().order_by()
    locked = Device.objects.select_for_update(no_key=True).filter(pk__in=list(keys))
    sensors = {sensor.pk: sensor for sensor in locked.order_by("pk")}
    spans = _spans(staged, sensors)
    merged = [_merge(row, sensors) for row in _overlapping(staged)]
    merged_pks = {pk for pk, _ in merged}
    counts = staged.values_list("pk", "count")
    copied = sum(count for pk, count in counts if pk not in merged_pks)
    _copy(reading_import, run)
    stored = [one for _, one in merged]
    return Published(
        added=copied + sum(one.added for one in stored),
        known=sum(one.repeated for one in stored),
        merged=stored,
        spans=spans,
    )


def _overlapping(staged: QuerySet[StagedHour]) -> QuerySet[StagedHour]:
    there = ReadingHour.objects.filter(
        sensor=OuterRef("sensor"), quantity=OuterRef("quantity"), hour=OuterRef("hour")
    )
    return staged.filter(Exists(there)).order_by("sensor", "quantity", "hour")


def _merge(row: StagedHour, sensors: dict[int, Device]) -> tuple[int, Stored]:
    times, values = unpack_readings(bytes(row.block))
    sensor = sensors[row.sensor_id]
    return row.pk, keep(sensor, row.quantity, times, values, is_noted=True)


def _spans(
    rows: QuerySet[StagedHour], sensors: dict[int, Device]
) -> list[tuple[Device, int, int]]:
    """Return from which hour to which each sensor has new readings."""
    ends: dict[int, list[int]] = {}
    for sensor_pk, hour in rows.values_list("sensor", "hour"):
        span = ends.setdefault(sensor_pk, [hour, hour])
        span[0], span[1] = min(span[0], hour), max(span[1], hour)
    return [(sensors[pk], first, last) for pk, (first, last) in sorted(ends.items())]


def _copy(reading_import: ReadingImport, run: str) -> None:
    columns = "sensor_id, quantity, hour, count, lowest, highest, mean, block, envelope"
    archive, stage = ReadingHour._meta.db_table, StagedHour._meta.db_table
    # Names of our own tables and columns; what varies is passed as parameters.
    statement = f"""
        INSERT INTO {archive} ({columns})
        SELECT {columns} FROM {stage} AS staged
        WHERE reading_import_id = %s AND run = %s AND NOT EXISTS (
            SELECT 1 FROM {archive} AS kept
            WHERE kept.sensor_id = staged.sensor_id
            AND kept.quantity = staged.quantity AND kept.hour = staged.hour
        )
        ORDER BY sensor_id, quantity, hour
    """  # noqa: S608
    with connection.cursor() as cursor:
        cursor.execute(statement, [reading_import.pk, run])


def clear_stage(reading_import: ReadingImport, *, but: str = "") -> None:
    """Take away staged rows of an import, except those of one run, a few at a time."""
    rows = StagedHour.objects.filter(reading_import=reading_import).exclude(run=but)
    while keys := list(rows.values_list("pk", flat=True)[:CHUNK]):
        StagedHour.objects.filter(pk__in=keys).delete()
