"""Checks as a page shows them: numbers with their units, and the picture of a trend."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.utils import timezone

from lab.checks.models import ArtefactCheck, Break, CheckReading

# --- Readings -------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class ShownReading:
    """One position in words: a tenth of a micrometre is what a check can tell."""

    position: str
    measured: str
    reference: str
    error: str
    limit: str
    acceptance_limit: str
    u_test: str
    share: str
    passed: bool

    @property
    def word(self) -> str:
        return "Passed" if self.passed else "Failed"

    @property
    def shape(self) -> str:
        return "state-good" if self.passed else "state-bad"


def shown_readings(readings: Iterable[CheckReading]) -> list[ShownReading]:
    return [
        ShownReading(
            position=one.name,
            measured=str(one.measured),
            reference=f"{one.reference_mm:.4f} mm",
            error=f"{one.error_mm * 1000:+.1f} µm".replace("-", "\N{MINUS SIGN}"),
            limit=f"{one.limit_mm * 1000:.1f} µm",
            acceptance_limit=f"{one.acceptance_limit_mm * 1000:.1f} µm",
            u_test=f"{one.u_test_mm * 1000:.1f} µm",
            share=percent(abs(one.error_mm) / one.limit_mm),
            passed=one.passed,
        )
        for one in readings
    ]


def percent(share: float) -> str:
    return f"{share * 100:.0f} %"


# --- The trend ------------------------------------------------------------------------

WIDTH, HEIGHT = 720, 240
LEFT, RIGHT, TOP, BOTTOM = 56, 12, 12, 36
TICKS_OF_TIME = 4


@dataclass(frozen=True, slots=True)
class Mark:
    """A sign in the picture, in its coordinates, with what it says."""

    x: str
    y: str
    label: str
    passed: bool = True

    @property
    def triangle(self) -> str:
        """Return the corners of the sign of a fail around the point."""
        x, y = float(self.x), float(self.y)
        return f"{x - 5:.1f},{y + 4:.1f} {x + 5:.1f},{y + 4:.1f} {x:.1f},{y - 5:.1f}"


@dataclass(frozen=True, slots=True)
class Trend:
    """|error| / limit of a system's checks by one procedure over time, as a picture."""

    title: str
    checks: Sequence[ArtefactCheck]
    marks: Sequence[Mark]
    breaks: Sequence[Mark]
    shares: Sequence[Mark]
    times: Sequence[Mark]
    width: int = WIDTH
    height: int = HEIGHT
    left: int = LEFT
    right: int = WIDTH - RIGHT
    top: int = TOP
    bottom: int = HEIGHT - BOTTOM

    @property
    def line(self) -> str:
        return " ".join(f"{mark.x},{mark.y}" for mark in self.marks)


def trend(
    title: str, newest_first: Sequence[ArtefactCheck], breaks: Iterable[Break]
) -> Trend | None:
    """Draw the trend of checks that are not void; None where one alone shows none."""
    checks = list(reversed(newest_first))
    if len(checks) < 2:
        return None
    scale = _Scale(
        start=checks[0].ended_at,
        end=max(checks[-1].ended_at, checks[0].ended_at + timedelta(hours=1)),
        top=max(1.25, 1.1 * max(check.worst_share for check in checks)),
    )
    return Trend(
        title=title,
        checks=newest_first,
        marks=[
            Mark(
                scale.x(check.ended_at),
                scale.y(check.worst_share),
                f"{_day(check.ended_at)}: {percent(check.worst_share)} of the limit",
                check.passed,
            )
            for check in checks
        ],
        breaks=[
            Mark(scale.x(one.at), "0", f"{one.get_kind_display()}, {_day(one.at)}")
            for one in breaks
            if scale.start <= one.at <= scale.end
        ],
        shares=[
            Mark(str(LEFT), scale.y(share), percent(share)) for share in (0.0, 0.5, 1.0)
        ],
        times=[
            Mark(scale.x(instant), "0", f"{timezone.localtime(instant):%Y-%m-%d}")
            for instant in scale.ticks()
        ],
    )


@dataclass(frozen=True, slots=True)
class _Scale:
    """Where an instant and a share lie in the picture."""

    start: datetime
    end: datetime
    top: float

    def x(self, instant: datetime) -> str:
        share = (instant - self.start) / (self.end - self.start)
        return f"{LEFT + 8 + share * (WIDTH - LEFT - RIGHT - 16):.1f}"

    def y(self, share: float) -> str:
        return f"{HEIGHT - BOTTOM - share / self.top * (HEIGHT - TOP - BOTTOM):.1f}"

    def ticks(self) -> list[datetime]:
        """Return instants a whole step apart, so few that their dates don't touch."""
        step = (self.end - self.start) / (TICKS_OF_TIME - 1)
        if self.end - self.start < timedelta(days=TICKS_OF_TIME):
            return [self.start, self.end]
        return [self.start + number * step for number in range(TICKS_OF_TIME)]


def _day(instant: datetime) -> str:
    return f"{timezone.localtime(instant):%Y-%m-%d %H:%M}"
