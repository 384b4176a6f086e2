"""The charts of a system's checks as pictures, with the table of what they show."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from lab.checks.charting.control import Control, Fired, PhaseChart, control_of, said_um
from lab.checks.charting.drawing import Drawing, marks_of
from lab.checks.charting.series import series_of
from lab.checks.models import ArtefactCheck, CheckProcedure, MeasuringSystem
from lab.common.charts import Period, Picture, laid_out

LEGEND: Final = (
    "Dot: a check that passed. Triangle: one that failed. Square: a watched rule "
    "fired. Ring: one of those that the limits stand on. B: a break. C: a calibration "
    "that began to count. A failed check beyond the picture stands at its edge."
)


@dataclass(frozen=True, slots=True)
class Row:
    """One check in the table behind the pictures."""

    check: ArtefactCheck
    error: str
    moving_range: str
    average: str
    rules: str


@dataclass(frozen=True, slots=True)
class ControlPage:
    """All that the charts of one system and procedure show over a period."""

    procedure: CheckProcedure
    pictures: Sequence[Picture]
    rows: Sequence[Row]
    fired: Sequence[tuple[ArtefactCheck, Fired]]
    said: Sequence[str]

    @property
    def legend(self) -> str:
        return LEGEND


def control_page(
    system: MeasuringSystem,
    procedure: CheckProcedure,
    period: Period,
    position: str = "",
) -> ControlPage:
    """Return the charts of a system's checks by a procedure within a period."""
    series = series_of(
        system, procedure, start=period.start, end=period.end, position=position
    )
    control = control_of(series)
    marks = marks_of(system, control, period)
    draw = Drawing(control, marks, period, position or "mean of all readings")
    is_any = bool(series.shown)
    return ControlPage(
        procedure=procedure,
        pictures=[laid_out(plot) for plot in draw.plots()] if is_any else [],
        rows=list(reversed(_rows(control))),
        fired=[
            (series.checks[one.index], one)
            for one in reversed(control.fired)
            if one.index >= series.shown_from
        ],
        said=[*_said(control), *filter(None, [draw.limit_said()])],
    )


def _said(control: Control) -> list[str]:
    """Say what the pictures can't: on what the limits stand, and what is left out."""
    series = control.series
    said = [_phase_said(chart) for chart in control.phases if chart.is_shown(series)]
    if series.is_cut:
        said.append(
            "There are more checks than a chart can tell apart; the newest are shown."
        )
    return said


def _phase_said(chart: PhaseChart) -> str:
    baseline = chart.baseline
    since = f"Since {chart.phase.cause}"
    if baseline is None:
        return chart.missing
    stand = f"{since}: limits from the first {baseline.count} checks that passed"
    if baseline.is_provisional:
        return f"{stand}, provisional; rules are judged from 20 checks on."
    return f"{stand}; centre {said_um(baseline.centre)}, sigma {baseline.sigma:.1f} µm."


def _rows(control: Control) -> list[Row]:
    series, ranges, averages = control.series, control.moving_ranges, control.averages
    return [
        Row(
            check=series.checks[index],
            error=said_um(series.errors_um[index]),
            moving_range=f"{ranges[index]:.1f} µm" if index in ranges else "",
            average=said_um(averages[index]) if index in averages else "",
            rules=", ".join(one.rule.value for one in control.fired_at(index)),
        )
        for index in range(series.shown_from, len(series.checks))
    ]
