"""A small picture of an item's way to the room's temperature, and its table."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final

from lab.common.charts import (
    Band,
    Level,
    Line,
    Picture,
    Plot,
    Point,
    Shape,
    Tone,
    laid_out,
)
from lab.jobs.soak import Standing, assumptions
from lab.metrology import soak

STEPS: Final = 48
ROWS: Final = 8
#: A curve is drawn over at least this long.
SHORTEST: Final = timedelta(hours=1)


@dataclass(frozen=True, slots=True)
class Row:
    """One line of the table behind the picture."""

    at: datetime
    quick: str
    slow: str


@dataclass(frozen=True, slots=True)
class ShownSoak:
    """How an item stands, with its picture where there is a prediction."""

    standing: Standing
    assumptions: list[str]
    picture: Picture | None
    rows: list[Row]

    @property
    def word(self) -> str:
        if self.standing.is_fit:
            return "At temperature"
        return "Soaking" if self.standing.predicted else "Not read"

    @property
    def shape(self) -> str:
        return "state-good" if self.standing.is_fit else "state-wait"

    @classmethod
    def of(cls, standing: Standing, now: datetime) -> ShownSoak:
        curve = _curve(standing, now)
        return cls(
            standing,
            assumptions(standing),
            None if curve is None else _picture(standing, curve, now),
            [] if curve is None else _rows(standing, curve),
        )


def _curve(standing: Standing, now: datetime) -> soak.SoakCurve | None:
    start_at, until = standing.start_at, standing.ready_until
    air, constant = standing.air, standing.constant
    if start_at is None or until is None or air is None or constant is None:
        return None
    length = max(until - start_at, now - start_at, SHORTEST) * 1.1
    room = soak.Room(air.degc, air.drift_k_per_h)
    return soak.soak_curve(
        constant, room, standing.start_degc or 0.0, length.total_seconds(), STEPS
    )


def _picture(standing: Standing, curve: soak.SoakCurve, now: datetime) -> Picture:
    start_at, air = standing.start_at or now, standing.air
    moments = [start_at + timedelta(seconds=float(one)) for one in curve.times_s]

    def course(degc: object, title: str) -> Line:
        values = [float(one) for one in degc]  # type: ignore[attr-defined]
        points = [Point(at, one) for at, one in zip(moments, values, strict=True)]
        return Line(points, tone=Tone.INK, title=title, dashed=True)

    readings = [
        Point(
            one.at,
            float(one.temperature.value),
            shape=Shape.DOT,
            title=f"{one.temperature} by {one.thermometer.tag}",
        )
        for one in standing.round
    ]
    ready_from, ready_until = standing.ready_from or now, standing.ready_until or now
    bands = [Band(ready_from, ready_until, "Foreseen to be at temperature in here")]
    return laid_out(
        Plot(
            title=f"Way of {standing.item.serial} to the room's temperature",
            description="Foreseen course with the shortest and the longest time "
            "constant, the room, and the range of times at which it is fit.",
            unit="°C",
            start=start_at - timedelta(minutes=5),
            end=moments[-1],
            lines=[
                course(curve.quick_degc, "Shortest time constant"),
                course(curve.slow_degc, "Longest time constant"),
                Line(readings),
            ],
            levels=[Level(air.degc, "room", Tone.QUIET)] if air else [],
            bands=[] if ready_from == ready_until else bands,
            height=180.0,
        )
    )


def _rows(standing: Standing, curve: soak.SoakCurve) -> list[Row]:
    if standing.start_at is None:
        return []
    every = max(1, len(curve.times_s) // ROWS)
    return [
        Row(
            standing.start_at + timedelta(seconds=float(at)),
            f"{quick:.1f} °C",
            f"{slow:.1f} °C",
        )
        for at, quick, slow in zip(
            curve.times_s[::every],
            curve.quick_degc[::every],
            curve.slow_degc[::every],
            strict=True,
        )
    ]
