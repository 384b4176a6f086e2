"""What a chart over time shows, and how it is laid out as a picture."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final

from lab.common.charts.axes import tick_words, time_ticks, time_words, value_ticks
from lab.common.charts.pictures import (
    Box,
    Picture,
    Shape,
    Sign,
    Stroke,
    Tone,
    Word,
)

LEFT: Final = 62.0
RIGHT: Final = 96.0
TOP: Final = 26.0
BOTTOM: Final = 28.0
#: Room between the frame and the first and the last point.
EDGE: Final = 8.0
#: A share of the values' range that stays free above and below.
AIR: Final = 0.06
LINE_HEIGHT: Final = 12.0


@dataclass(frozen=True, slots=True)
class Point:
    """A value at an instant; without a shape it is a bend of the line alone."""

    at: datetime
    value: float
    shape: Shape | None = None
    tone: Tone = Tone.INK
    title: str = ""


@dataclass(frozen=True, slots=True)
class Line:
    """Points in the order of time; the line is broken before each index in ``breaks``.

    ``steps`` draws a value until the next one replaces it.
    """

    points: Sequence[Point]
    tone: Tone = Tone.QUIET
    breaks: Sequence[int] = ()
    steps: bool = False
    dashed: bool = False
    width: float = 1.0
    title: str = ""


@dataclass(frozen=True, slots=True)
class Level:
    """A horizontal line with a label at its right, from an instant to another."""

    value: float
    label: str
    tone: Tone = Tone.INK
    dashed: bool = False
    width: float = 1.0
    start: datetime | None = None
    end: datetime | None = None


@dataclass(frozen=True, slots=True)
class Mark:
    """An event: a vertical line with a letter above it and what it says."""

    at: datetime
    letter: str
    title: str
    tone: Tone = Tone.INK


@dataclass(frozen=True, slots=True)
class Band:
    """A stretch of time that is shaded."""

    start: datetime
    end: datetime
    title: str
    tone: Tone = Tone.WAIT


@dataclass(frozen=True, slots=True)
class Plot:
    """A chart over time in words and numbers, nothing of it placed yet.

    Its height follows what it shows, or ``bounds`` where a few wild values would press
    all others into a line; values beyond them stand at the edge.
    """

    title: str
    description: str
    unit: str
    start: datetime
    end: datetime
    lines: Sequence[Line]
    levels: Sequence[Level] = ()
    marks: Sequence[Mark] = ()
    bands: Sequence[Band] = ()
    least: float | None = None
    bounds: tuple[float, float] | None = None
    width: float = 720.0
    height: float = 240.0


def laid_out(plot: Plot) -> Picture:
    """Place everything that a plot shows within its time.

    Points, marks and bands outside its time are left out; levels and bands are cut.
    """
    scale = _scale_of(plot)
    boxes = [_box(one, scale) for one in plot.bands if _is_within(one, plot)]
    strokes = [*_grid(scale), *_levels(plot, scale), *_marks(plot, scale)]
    signs: list[Sign] = []
    for line in plot.lines:
        shown = _shown(line, plot)
        strokes += _strokes(shown, scale)
        signs += _signs(shown, scale)
    words = [*_axis_words(plot, scale), *_mark_words(plot, scale)]
    words += _level_words(plot, scale)
    return Picture(
        title=plot.title,
        description=plot.description,
        width=plot.width,
        height=plot.height,
        boxes=boxes,
        strokes=strokes,
        signs=signs,
        words=words,
    )


@dataclass(frozen=True, slots=True)
class _Scale:
    """Where an instant and a value lie in the picture."""

    start: datetime
    end: datetime
    lowest: float
    highest: float
    right: float
    bottom: float

    def x(self, at: datetime) -> float:
        share = (at - self.start) / (self.end - self.start)
        return LEFT + EDGE + share * (self.right - LEFT - 2 * EDGE)

    def y(self, value: float) -> float:
        within = min(max(value, self.lowest), self.highest)
        share = (within - self.lowest) / (self.highest - self.lowest)
        return self.bottom - share * (self.bottom - TOP)

    @property
    def ticks(self) -> list[float]:
        return value_ticks(self.lowest, self.highest)


def _scale_of(plot: Plot) -> _Scale:
    values = list(plot.bounds or _values(plot))
    lowest, highest = min(values, default=0.0), max(values, default=1.0)
    air = AIR * (highest - lowest) or abs(highest) * AIR or 1.0
    bottom = lowest - air if plot.least is None else min(plot.least, lowest)
    return _Scale(
        start=plot.start,
        end=max(plot.end, plot.start + timedelta(minutes=1)),
        lowest=bottom,
        highest=highest + air,
        right=plot.width - RIGHT,
        bottom=plot.height - BOTTOM,
    )


def _values(plot: Plot) -> list[float]:
    shown = [_shown(line, plot) for line in plot.lines]
    values = [point.value for line in shown for point in line.points]
    values += [one.value for one in plot.levels]
    return [value for value in values if math.isfinite(value)]


def _shown(line: Line, plot: Plot) -> Line:
    """Return a line's points within the plot's time, its breaks counted anew."""
    kept = [
        number
        for number, point in enumerate(line.points)
        if plot.start <= point.at <= plot.end and math.isfinite(point.value)
    ]
    if len(kept) == len(line.points):
        return line
    places = {number: new for new, number in enumerate(kept)}
    left_out = {number for number in range(len(line.points)) if number not in places}
    broken = {*line.breaks, *(number + 1 for number in left_out)}
    return Line(
        points=[line.points[number] for number in kept],
        tone=line.tone,
        breaks=sorted(places[number] for number in broken if number in places),
        steps=line.steps,
        dashed=line.dashed,
        width=line.width,
        title=line.title,
    )


def _strokes(line: Line, scale: _Scale) -> list[Stroke]:
    edges = sorted({0, *line.breaks, len(line.points)})
    pieces = [line.points[start:stop] for start, stop in itertools.pairwise(edges)]
    return [
        Stroke(
            _bends(piece, scale, steps=line.steps),
            line.tone,
            line.width,
            line.dashed,
            line.title,
        )
        for piece in pieces
        if len(piece) > 1
    ]


def _bends(
    points: Sequence[Point], scale: _Scale, *, steps: bool
) -> list[tuple[float, float]]:
    places: list[tuple[float, float]] = []
    for point in points:
        place = (scale.x(point.at), scale.y(point.value))
        if steps and places:
            places.append((place[0], places[-1][1]))
        places.append(place)
    return places


def _signs(line: Line, scale: _Scale) -> list[Sign]:
    return [
        Sign(
            scale.x(point.at),
            scale.y(point.value),
            point.shape,
            point.tone,
            point.title,
        )
        for point in line.points
        if point.shape is not None
    ]


def _grid(scale: _Scale) -> list[Stroke]:
    frame = [
        (LEFT, TOP),
        (LEFT, scale.bottom),
        (scale.right, scale.bottom),
    ]
    rules = [
        Stroke([(LEFT - 4, y), (LEFT, y)], Tone.QUIET, 0.8)
        for y in map(scale.y, scale.ticks)
    ]
    ticks = [
        Stroke([(x, scale.bottom), (x, scale.bottom + 4)], Tone.QUIET, 0.8)
        for x in map(scale.x, time_ticks(scale.start, scale.end))
    ]
    return [Stroke(frame, Tone.QUIET, 0.8), *rules, *ticks]


def _levels(plot: Plot, scale: _Scale) -> list[Stroke]:
    return [
        Stroke(
            [
                (_left_of(one, scale), scale.y(one.value)),
                (_right_of(one, scale), scale.y(one.value)),
            ],
            one.tone,
            one.width,
            one.dashed,
            one.label,
        )
        for one in plot.levels
        if _is_within(one, plot)
    ]


def _left_of(level: Level, scale: _Scale) -> float:
    starts_within = level.start is not None and level.start > scale.start
    return scale.x(level.start) if level.start and starts_within else LEFT


def _right_of(level: Level, scale: _Scale) -> float:
    ends_within = level.end is not None and level.end < scale.end
    return scale.x(level.end) if level.end and ends_within else scale.right


def _is_within(one: Level | Band, plot: Plot) -> bool:
    starts_after = one.start is not None and one.start > plot.end
    ends_before = one.end is not None and one.end < plot.start
    return not starts_after and not ends_before


def _marks(plot: Plot, scale: _Scale) -> list[Stroke]:
    return [
        Stroke(
            [(scale.x(one.at), TOP - 4), (scale.x(one.at), scale.bottom)],
            one.tone,
            dashed=True,
            title=one.title,
        )
        for one in _marks_shown(plot)
    ]


def _marks_shown(plot: Plot) -> Iterable[Mark]:
    return [one for one in plot.marks if plot.start <= one.at <= plot.end]


def _box(band: Band, scale: _Scale) -> Box:
    left = scale.x(max(band.start, scale.start))
    right = scale.x(min(band.end, scale.end))
    width = max(right - left, 1.0)
    return Box(left, TOP, width, scale.bottom - TOP, band.tone, band.title)


def _axis_words(plot: Plot, scale: _Scale) -> list[Word]:
    values = scale.ticks
    words = [
        Word(LEFT - 8, scale.y(value) + 4, said, "end", Tone.QUIET)
        for value, said in zip(values, tick_words(values), strict=True)
    ]
    times = time_ticks(scale.start, scale.end)
    words += [
        Word(scale.x(at), scale.bottom + 18, said, "middle", Tone.QUIET)
        for at, said in zip(times, time_words(times), strict=True)
    ]
    return [*words, Word(LEFT - 8, 12, plot.unit, "end", Tone.QUIET)]


def _mark_words(plot: Plot, scale: _Scale) -> list[Word]:
    """Set the letters of marks; of those that would cover each other only the first."""
    words: list[Word] = []
    for one in sorted(_marks_shown(plot), key=lambda mark: mark.at):
        x = scale.x(one.at)
        if not words or x - words[-1].x >= LINE_HEIGHT:
            words.append(Word(x, TOP - 8, one.letter, "middle", one.tone))
    return words


def _level_words(plot: Plot, scale: _Scale) -> list[Word]:
    """Set the labels of levels that reach the right edge, pushed apart where near."""
    reaching = [
        one
        for one in plot.levels
        if one.label and _is_within(one, plot) and _right_of(one, scale) == scale.right
    ]
    words: list[Word] = []
    above = -math.inf
    for one in sorted(reaching, key=lambda level: -level.value):
        y = max(scale.y(one.value) + 4, above + LINE_HEIGHT)
        words.append(Word(scale.right + 6, y, one.label, "start", one.tone))
        above = y
    return words
