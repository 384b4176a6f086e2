"""A room's readings as a picture over any stretch, with every peak kept.

Up to two days the readings themselves are drawn, up to three months the envelopes of
minutes, beyond that those of hours; of each column of the picture the lowest and the
highest stay. Pictures only: no statement is made from what is reduced here.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final

import numpy as np
from numpy.typing import NDArray

from lab.common.charts import (
    Band,
    Level,
    Line,
    Mark,
    Picture,
    Plot,
    Point,
    Tone,
    laid_out,
)
from lab.environment.finding import longest_step
from lab.environment.models import AirQuantity, Excursion
from lab.environment.selectors.corrected import stretches_of
from lab.environment.selectors.corrections import corrections
from lab.environment.selectors.readings import envelope, hour_summaries, readings
from lab.environment.selectors.sensors import Stay, sensors_in
from lab.environment.stretches import Stretch
from lab.environment.times import instant_of
from lab.laboratory.models import Room
from lab.metrology.environment.packing import HOUR_US, MINUTE_US

Array = NDArray[np.float64]
Whole = NDArray[np.int64]
#: Columns of a picture; each keeps its lowest and its highest.
COLUMNS: Final = 500
#: Up to these lengths readings, then minutes, are drawn.
BY_READINGS: Final = timedelta(days=2)
BY_MINUTES: Final = timedelta(days=92)
#: With more bands than this, those within one column are drawn as one.
MOST_BANDS: Final = 120


@dataclass(frozen=True, slots=True, eq=False)
class Reduced:
    """Columns of one sensor's readings in a room: where, lowest and highest."""

    stay: Stay
    starts_us: Whole
    lowest: Array
    highest: Array
    step_us: int


@dataclass(frozen=True, slots=True)
class TableRow:
    """One line of the table behind a picture."""

    at: datetime
    sensor: str
    lowest: str
    highest: str


@dataclass(frozen=True, slots=True)
class Chart:
    """A picture with the legend of its lines and the table behind it."""

    picture: Picture
    legend: list[str]
    rows: list[TableRow]


def chart_of(
    room: Room,
    quantity: AirQuantity,
    stretch: Stretch,
    bands: Sequence[Band] = (),
    marks: Sequence[Mark] = (),
) -> Chart | None:
    """Return the picture of a quantity in a room, or None if nothing was read."""
    reduced = [
        one
        for stay in sensors_in(room, stretch.start, stretch.end)
        if len((one := reduced_of(stay, quantity, stretch)).starts_us)
    ]
    if not reduced:
        return None
    gap_us = longest_step(room) // timedelta(microseconds=1)
    tags = list(dict.fromkeys(one.stay.sensor.tag for one in reduced))
    lines = [_line(one, tags.index(one.stay.sensor.tag), gap_us) for one in reduced]
    picture = laid_out(
        Plot(
            title=f"{quantity.label} in {room.name}",
            description=f"Lowest and highest of {COLUMNS} columns for each of "
            f"{', '.join(tags)}, with limits; the table below says the same.",
            unit=quantity.unit,
            start=stretch.start,
            end=stretch.end,
            lines=lines,
            levels=list(_levels(room, quantity)),
            bands=bands,
            marks=marks,
            height=260.0 if quantity is AirQuantity.TEMPERATURE else 180.0,
        )
    )
    return Chart(
        picture, [_legend(tag, n) for n, tag in enumerate(tags)], _rows(reduced)
    )


def reduced_of(stay: Stay, quantity: str, stretch: Stretch) -> Reduced:
    """Return a sensor's readings in its stay, brought down to the picture's columns."""
    start, end = stay.start, min(stay.end or stretch.end, stretch.end)
    parts = [
        _corrected(stay, quantity, first, last, stretch.length)
        for first, last in stretches_of(stay.sensor, start, end)
    ]
    starts = np.concatenate([part[0] for part in parts])
    lowest = np.concatenate([part[1] for part in parts])
    highest = np.concatenate([part[2] for part in parts])
    width = max(int(stretch.length / timedelta(microseconds=1)) // COLUMNS, 1)
    if not len(starts):
        return Reduced(stay, starts, lowest, highest, width)
    column = starts // width
    edges = np.concatenate([[0], np.flatnonzero(np.diff(column)) + 1])
    return Reduced(
        stay,
        starts[edges],
        np.minimum.reduceat(lowest, edges),
        np.maximum.reduceat(highest, edges),
        max(width, _step_us(stretch.length)),
    )


def _corrected(
    stay: Stay, quantity: str, start: datetime, end: datetime, length: timedelta
) -> tuple[Whole, Array, Array]:
    starts, lowest, highest = _extremes(stay, quantity, start, end, length)
    table = corrections(stay.sensor, quantity, start)
    if table is None or not len(starts):
        return starts, lowest, highest

    def added(values: Array) -> Array:
        return values + np.interp(values, table.readings, table.corrections)

    return starts, added(lowest), added(highest)


def _extremes(
    stay: Stay, quantity: str, start: datetime, end: datetime, length: timedelta
) -> tuple[Whole, Array, Array]:
    if length <= BY_READINGS:
        times, values = readings(stay.sensor, quantity, start, end)
        return times, values, values
    found = (
        envelope(stay.sensor, quantity, start, end)
        if length <= BY_MINUTES
        else hour_summaries(stay.sensor, quantity, start, end)
    )
    return found.starts_us, found.lowest, found.highest


def _step_us(length: timedelta) -> int:
    if length <= BY_READINGS:
        return 0
    return MINUTE_US if length <= BY_MINUTES else HOUR_US


# --- Lines, levels, bands -------------------------------------------------------------


def _line(one: Reduced, number: int, gap_us: int) -> Line:
    """Draw each column from its lowest to its highest, and break at gaps."""
    half = one.step_us // 2
    points: list[Point] = []
    breaks: list[int] = []
    previous: int | None = None
    columns = zip(
        one.starts_us.tolist(), one.lowest.tolist(), one.highest.tolist(), strict=True
    )
    for start, low, high in columns:
        if previous is not None and start - previous > gap_us + one.step_us:
            breaks.append(len(points))
        at = instant_of(start + half)
        points.append(Point(at, low))
        if high != low:
            points.append(Point(at, high))
        previous = start
    tone = Tone.INK if number % 2 == 0 else Tone.QUIET
    return Line(
        points,
        tone=tone,
        breaks=breaks,
        dashed=number >= 2,
        width=1.2,
        title=one.stay.sensor.tag,
    )


def _legend(tag: str, number: int) -> str:
    tone = "strong" if number % 2 == 0 else "faint"
    return f"{tag}: {tone} {'dashed' if number >= 2 else 'solid'} line"


def _levels(room: Room, quantity: AirQuantity) -> Iterator[Level]:
    name = quantity.value
    for word in ("lowest", "highest"):
        limit = getattr(room, f"{name}_{word}")
        if limit is not None:
            value = float(limit.value)
            yield Level(value, str(limit), Tone.BAD, dashed=True)


def excursion_bands(rows: Sequence[Excursion], stretch: Stretch) -> list[Band]:
    """Return a band for each excursion; of very many, those in one column as one."""
    bands = [
        Band(
            one.start,
            one.end,
            f"{one.get_kind_display()}{f' {one.side}' if one.side else ''}: "
            f"{one.worst_text}, limit {one.limit}",
            Tone.QUIET if one.kind == Excursion.Kind.GAP else Tone.BAD,
        )
        for one in sorted(rows, key=lambda one: one.start)
    ]
    if len(bands) <= MOST_BANDS:
        return bands
    width = stretch.length / COLUMNS
    joined: list[Band] = []
    for band in bands:
        last = joined[-1] if joined else None
        if last is not None and band.start <= last.end + width:
            end = max(last.end, band.end)
            joined[-1] = Band(last.start, end, "Several excursions", Tone.BAD)
        else:
            joined.append(band)
    return joined


def _rows(reduced: Sequence[Reduced], most: int = 60) -> list[TableRow]:
    """Return so many lines of a table, each with the extremes of its columns."""
    found = []
    for one in reduced:
        every = -(-len(one.starts_us) * len(reduced) // most)
        edges = np.arange(0, len(one.starts_us), max(every, 1))
        lows = np.minimum.reduceat(one.lowest, edges)
        highs = np.maximum.reduceat(one.highest, edges)
        found += [
            TableRow(
                instant_of(int(one.starts_us[edge])),
                one.stay.sensor.tag,
                f"{low:.2f}",
                f"{high:.2f}",
            )
            for edge, low, high in zip(edges, lows, highs, strict=True)
        ]
    return sorted(found, key=lambda row: (row.at, row.sensor))
