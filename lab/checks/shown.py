"""Checks as a page shows them: numbers with their units, and the picture of a trend."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.utils import timezone

from lab.checks.models import ArtefactCheck, Break, CheckProcedure, CheckReading
from lab.common.charts import (
    Level,
    Line,
    Mark,
    Picture,
    Plot,
    Point,
    Shape,
    Tone,
    laid_out,
)

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


@dataclass(frozen=True, slots=True)
class Trend:
    """|error| / limit of a system's checks by one procedure over time, as a picture."""

    title: str
    procedure: CheckProcedure
    checks: Sequence[ArtefactCheck]
    picture: Picture


def trend(
    procedure: CheckProcedure,
    newest_first: Sequence[ArtefactCheck],
    breaks: Iterable[Break],
) -> Trend | None:
    """Draw the trend of checks that are not void; None where one alone shows none."""
    if len(newest_first) < 2:
        return None
    start, end = newest_first[-1].ended_at, newest_first[0].ended_at
    plot = Plot(
        title=f"{procedure}: how near the limit",
        description="The worst error of each check as a share of the limit; the table "
        "has the numbers.",
        unit="% of limit",
        start=start,
        end=max(end, start + timedelta(hours=1)),
        lines=[Line([_share(check) for check in reversed(newest_first)])],
        levels=[Level(100.0, "the limit", width=2.0)],
        marks=[
            Mark(one.at, "B", f"{one.get_kind_display()}, {_day(one.at)}")
            for one in breaks
        ],
        least=0.0,
    )
    return Trend(str(procedure), procedure, newest_first, laid_out(plot))


def _share(check: ArtefactCheck) -> Point:
    said = f"{_day(check.ended_at)}: {percent(check.worst_share)} of the limit"
    value = check.worst_share * 100
    if check.passed:
        return Point(check.ended_at, value, Shape.DOT, title=said)
    failed = f"{said}, failed"
    return Point(check.ended_at, value, Shape.TRIANGLE, Tone.BAD, failed)


def _day(instant: datetime) -> str:
    return f"{timezone.localtime(instant):%Y-%m-%d %H:%M}"
