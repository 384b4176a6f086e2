"""The three pictures of a control chart, and the marks upon them."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, time
from typing import Final

from django.utils import timezone

from lab.checks.charting.control import Control, PhaseChart, said_um
from lab.checks.models import MeasuringSystem, WatchedRule
from lab.common.charts import (
    Level,
    Line,
    Mark,
    Period,
    Plot,
    Point,
    Shape,
    Tone,
)
from lab.equipment.models import Calibration
from lab.laboratory.selectors import home_zone
from lab.metrology.charts import IndividualsChart

#: Beyond so many times the control limits a check's own limit is said, not drawn: it
#: would press the values into one line.
LIMIT_DRAWN_WITHIN: Final = 2.5
RUNS: Final = frozenset(WatchedRule) - {WatchedRule.EWMA, WatchedRule.RANGE}
#: Upper limit, centre and lower limit of one chart; None where it has none.
Bounds = tuple[float | None, float | None, float | None]


def marks_of(
    system: MeasuringSystem,
    control: Control,
    period: Period,
) -> list[Mark]:
    """Return the breaks and the calibrations that began to count in a period."""
    marks = [
        Mark(one.at, "B", f"{one.get_kind_display()}, {moment(one.at)}: {one.note}")
        for one in control.series.breaks
        if period.start <= one.at <= period.end
    ]
    devices = {system.tracker_id, system.scanner_id}
    devices |= {check.procedure.artefact_id for check in control.series.shown}
    return [*marks, *_calibration_marks(devices, period)]


def _calibration_marks(devices: Iterable[int], period: Period) -> list[Mark]:
    rows = Calibration.objects.filter(
        device__in=list(devices),
        superseded_by=None,
        counts_from__range=(period.first, period.last),
    )
    zone = home_zone()
    return [
        Mark(
            datetime.combine(one.counts_from, time.min, tzinfo=zone),
            "C",
            f"Calibration {one.certificate_number} of {one.device.tag} counts from "
            f"{one.counts_from:%Y-%m-%d}",
            Tone.QUIET,
        )
        for one in rows.select_related("device").order_by("counts_from", "pk")
    ]


def moment(at: datetime) -> str:
    return f"{timezone.localtime(at):%Y-%m-%d %H:%M}"


@dataclass(frozen=True, slots=True)
class Drawing:
    """The three charts of a series over one period."""

    control: Control
    marks: Sequence[Mark]
    period: Period
    what: str

    def plots(self) -> list[Plot]:
        return [self._individuals(), self._ranges(), self._averages()]

    def _plot(
        self,
        title: str,
        lines: Sequence[Line],
        levels: Sequence[Level],
        least: float | None = None,
    ) -> Plot:
        return Plot(
            title=title,
            description=f"{self.period.words}; the table has the numbers.",
            unit="µm",
            start=self.period.start,
            end=self.period.end,
            lines=lines,
            levels=levels,
            marks=self.marks,
            least=least,
            bounds=_bounds(lines, levels),
        )

    def _individuals(self) -> Plot:
        values = dict(enumerate(self.control.series.errors_um))
        levels = self._levels(lambda one: (one.upper, one.baseline.centre, one.lower))
        lines = [*self._limit_lines(), self._line(values, marked=RUNS)]
        return self._plot(f"Error of each check ({self.what})", lines, levels)

    def _ranges(self) -> Plot:
        return self._plot(
            "Moving range: how far each check lies from the one before",
            [self._line(self.control.moving_ranges, marked={WatchedRule.RANGE})],
            self._levels(lambda one: (one.upper_range, one.mean_range, None)),
            least=0.0,
        )

    def _averages(self) -> Plot:
        lines = [self._line(self.control.averages, marked={WatchedRule.EWMA})]
        for chart in self.control.phases:
            for first, ewma in chart.averages:
                for bound in (ewma.lower, ewma.upper):
                    limits = {first + n: float(each) for n, each in enumerate(bound)}
                    lines.append(self._line(limits))
        levels = self._levels(lambda one: (None, one.baseline.centre, None))
        return self._plot("Moving average (EWMA, weight 0.2)", lines, levels)

    def _line(
        self,
        values: Mapping[int, float],
        *,
        marked: Collection[WatchedRule] | None = None,
    ) -> Line:
        """Return a line through values by their index, broken where phases begin.

        With ``marked`` each value has its sign, and a square where one of those rules
        fired; without, the line is a limit.
        """
        series = self.control.series
        indices = sorted(index for index in values if index >= series.shown_from)
        firsts = {*series.starts, *(chart.phase.first for chart in self.control.phases)}
        broken = [
            number
            for number, index in enumerate(indices)
            if number and any(indices[number - 1] < one <= index for one in firsts)
        ]
        if marked is None:
            bends = [Point(series.checks[n].ended_at, values[n]) for n in indices]
            return Line(bends, Tone.INK, broken, dashed=True)
        points = [self._point(index, values[index], marked) for index in indices]
        return Line(points, Tone.QUIET, broken)

    def _point(
        self, index: int, value: float, marked: Collection[WatchedRule]
    ) -> Point:
        check = self.control.series.checks[index]
        fired = [one for one in self.control.fired_at(index) if one.rule in marked]
        shape, tone = self._sign(index, is_fired=bool(fired))
        rules = "".join(f"; {one.rule.label}" for one in fired)
        return Point(
            check.ended_at,
            value,
            shape,
            tone,
            f"{moment(check.ended_at)}: {said_um(value)}{rules}",
        )

    def _sign(self, index: int, *, is_fired: bool) -> tuple[Shape, Tone]:
        if not self.control.series.checks[index].passed:
            return Shape.TRIANGLE, Tone.BAD
        if is_fired:
            return Shape.SQUARE, Tone.WAIT
        for chart in self.control.phases:
            if 0 <= index - chart.phase.first < chart.phase.in_baseline:
                return Shape.RING, Tone.INK
        return Shape.DOT, Tone.INK

    def _levels(self, of: Callable[[IndividualsChart], Bounds]) -> list[Level]:
        """Return the limits and the centre of each phase over its own stretch."""
        levels: list[Level] = []
        for chart in self.control.phases:
            if chart.individuals is None or not chart.is_shown(self.control.series):
                continue
            start, end = self._stretch(chart)
            names = ("upper limit", "centre", "lower limit")
            levels += [
                Level(value, name, dashed=name != "centre", start=start, end=end)
                for value, name in zip(of(chart.individuals), names, strict=True)
                if value is not None
            ]
        return levels

    def _stretch(self, chart: PhaseChart) -> tuple[datetime, datetime | None]:
        checks, phase = self.control.series.checks, chart.phase
        end = checks[phase.stop].started_at if phase.stop < len(checks) else None
        return checks[phase.first].started_at, end

    def _limit_lines(self) -> list[Line]:
        """Return what the checks themselves are accepted by, where it can be seen."""
        limits = self._acceptance_um()
        if not limits or not self._is_drawn(limits):
            return []
        sides = [limits]
        if not self.control.series.is_form:
            sides.append({index: -limit for index, limit in limits.items()})
        return [
            Line(
                [
                    Point(self.control.series.checks[n].ended_at, value)
                    for n, value in sorted(side.items())
                ],
                Tone.BAD,
                steps=True,
                width=1.5,
                title="Accepted up to here",
            )
            for side in sides
        ]

    def limit_said(self) -> str:
        """Say up to which error a check is accepted, where that is not drawn."""
        limits = self._acceptance_um()
        if not limits or self._is_drawn(limits):
            return ""
        least = min(limits.values())
        return (
            f"Every reading is accepted up to an error of {least:.1f} µm, which lies "
            "beyond the first picture."
        )

    def _is_drawn(self, limits: Mapping[int, float]) -> bool:
        """Tell whether the limit lies near enough to the values to be drawn."""
        series = self.control.series
        reached = [
            max(abs(one.individuals.upper), abs(one.individuals.lower))
            for one in self.control.phases
            if one.individuals is not None
        ]
        reached += [
            abs(value.error_um)
            for check, value in zip(series.checks, series.values, strict=True)
            if check.passed
        ]
        return max(limits.values()) <= LIMIT_DRAWN_WITHIN * max(reached, default=0.0)

    def _acceptance_um(self) -> dict[int, float]:
        series = self.control.series
        return {
            index: series.values[index].accepted_um
            for index in range(series.shown_from, len(series.checks))
        }


def _bounds(
    lines: Sequence[Line], levels: Sequence[Level]
) -> tuple[float, float] | None:
    """Return what a picture reaches from and to; failed checks don't stretch it."""
    values = [one.value for one in levels]
    values += [
        point.value
        for line in lines
        for point in line.points
        if point.shape is not Shape.TRIANGLE
    ]
    return (min(values), max(values)) if values else None
