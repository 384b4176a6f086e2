"""Readings of a room's loggers with their calibrations' corrections added.

Instants become seconds since 1970, as the computations want them. A sensor counts for
a room only while it stood there.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime

import numpy as np

from lab.environment.selectors.corrections import corrections
from lab.environment.selectors.readings import readings
from lab.environment.selectors.sensors import sensors_in
from lab.equipment.models import Device
from lab.equipment.selectors import calibration_spans
from lab.laboratory.models import Room
from lab.metrology.environment import Readings, corrected_readings

MICROSECONDS = 1e6


@dataclass(frozen=True, slots=True, eq=False)
class Series:
    """One sensor's readings in a room; ``is_corrected`` says whether all could be."""

    sensor: Device
    position: str
    start: datetime
    end: datetime
    readings: Readings
    is_corrected: bool


def series_in(
    room: Room, quantity: str, start: datetime, end: datetime
) -> list[Series]:
    """Return the corrected readings of each stay of a sensor in a room."""
    found = []
    for stay in sensors_in(room, start, end):
        last = stay.end or end
        series, is_corrected = corrected(stay.sensor, quantity, stay.start, last)
        if len(series.times_s):
            found.append(
                Series(
                    stay.sensor, stay.position, stay.start, last, series, is_corrected
                )
            )
    return found


def corrected(
    sensor: Device, quantity: str, start: datetime, end: datetime
) -> tuple[Readings, bool]:
    """Return a channel's readings in a window, each with the correction of its time."""
    parts, all_corrected = [], True
    for first, last in stretches_of(sensor, start, end):
        times_us, values = readings(sensor, quantity, first, last)
        if not len(times_us):
            continue
        part = Readings(times_us / MICROSECONDS, values)
        table = corrections(sensor, quantity, first)
        all_corrected &= table is not None
        parts.append(
            part if table is None else corrected_readings(part, table).readings
        )
    if not parts:
        return Readings(np.zeros(0), np.zeros(0)), False
    return (
        Readings(
            np.concatenate([part.times_s for part in parts]),
            np.concatenate([part.values for part in parts]),
        ),
        all_corrected,
    )


def stretches_of(
    sensor: Device, start: datetime, end: datetime
) -> Iterator[tuple[datetime, datetime]]:
    """Cut a window where a calibration of the sensor begins or ends to be current."""
    edges = {start, end}
    for span in calibration_spans([sensor]):
        edges |= {
            edge for edge in (span.start, span.end) if edge and start < edge < end
        }
    ordered = sorted(edges)
    yield from itertools.pairwise(ordered)
