"""A picture as strokes, signs and words in points, with the origin at its top left."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

Place = tuple[float, float]


class Tone(StrEnum):
    """What a colour repeats; the values are classes of the style sheet."""

    INK = ""
    QUIET = "quiet"
    GOOD = "state-good"
    WAIT = "state-wait"
    BAD = "state-bad"


class Shape(StrEnum):
    """The sign at a point; shape tells what colour only repeats."""

    DOT = "dot"
    RING = "ring"
    TRIANGLE = "triangle"
    SQUARE = "square"


@dataclass(frozen=True, slots=True)
class Stroke:
    """A line through places."""

    places: Sequence[Place]
    tone: Tone = Tone.INK
    width: float = 1.0
    dashed: bool = False
    title: str = ""

    @property
    def points(self) -> str:
        return " ".join(f"{x:.1f},{y:.1f}" for x, y in self.places)


@dataclass(frozen=True, slots=True)
class Sign:
    """A sign at a place, with what it says."""

    x: float
    y: float
    shape: Shape
    tone: Tone = Tone.INK
    title: str = ""

    @property
    def corners(self) -> Sequence[Place]:
        """Return the corners of a triangle or a square; none of what is round."""
        x, y = self.x, self.y
        if self.shape is Shape.TRIANGLE:
            return ((x - 5, y + 4), (x + 5, y + 4), (x, y - 5.5))
        if self.shape is Shape.SQUARE:
            return ((x - 4, y - 4), (x + 4, y - 4), (x + 4, y + 4), (x - 4, y + 4))
        return ()

    @property
    def points(self) -> str:
        return " ".join(f"{x:.1f},{y:.1f}" for x, y in self.corners)


@dataclass(frozen=True, slots=True)
class Word:
    """A word whose ``anchor`` (start, middle, end) stands at a place."""

    x: float
    y: float
    text: str
    anchor: str = "start"
    tone: Tone = Tone.INK


@dataclass(frozen=True, slots=True)
class Box:
    """A shaded rectangle behind everything else."""

    x: float
    y: float
    width: float
    height: float
    tone: Tone
    title: str = ""


@dataclass(frozen=True, slots=True)
class Picture:
    """Everything that is drawn; ``description`` is for whoever can't see it."""

    title: str
    description: str
    width: float
    height: float
    boxes: Sequence[Box]
    strokes: Sequence[Stroke]
    signs: Sequence[Sign]
    words: Sequence[Word]
