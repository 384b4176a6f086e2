"""Limits, moving average and fired rules of a series, phase by phase.

The limits of a phase stand on its first twenty values and are kept
(:mod:`lab.metrology.charts.baseline`); failed checks are left out of them, since their
cause is looked for. From eight values on there are provisional limits, by which no
rule is judged (both numbers: common practice, no source).
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

from numpy.typing import ArrayLike

from lab.checks.charting.series import Phase, Series
from lab.checks.models import WatchedRule
from lab.metrology.charts import (
    Baseline,
    EwmaChart,
    IndividualsChart,
    Signal,
    ewma_chart,
    individuals_baseline,
    individuals_chart,
    nelson,
    signals,
    western_electric,
)
from lab.metrology.errors import MetrologyError

FEWEST: Final = 8
SETS: Final[dict[str, Callable[[ArrayLike], tuple[Signal, ...]]]] = {
    "western electric": western_electric,
    "nelson": nelson,
}


@dataclass(frozen=True, slots=True)
class Fired:
    """A watched rule that fired with the check at ``index`` of the series."""

    index: int
    rule: WatchedRule
    words: str


@dataclass(frozen=True, slots=True)
class PhaseChart:
    """One phase with its limits; ``missing`` says why it has none."""

    phase: Phase
    baseline: Baseline | None = None
    individuals: IndividualsChart | None = None
    averages: Sequence[tuple[int, EwmaChart]] = ()
    missing: str = ""

    def is_shown(self, series: Series) -> bool:
        return self.phase.stop > series.shown_from


@dataclass(frozen=True, slots=True)
class Control:
    """The whole control chart of a series."""

    series: Series
    phases: Sequence[PhaseChart]
    fired: Sequence[Fired]

    @property
    def moving_ranges(self) -> dict[int, float]:
        """Return the moving range of each value that has an honest one, in µm."""
        found: dict[int, float] = {}
        for chart in self.phases:
            if chart.individuals is not None:
                for number, value in enumerate(chart.individuals.moving_ranges):
                    found[chart.phase.first + number] = float(value)
        return {index: value for index, value in found.items() if value == value}

    @property
    def averages(self) -> dict[int, float]:
        """Return the moving average at each value that has one, in µm."""
        return {
            first + number: float(value)
            for chart in self.phases
            for first, ewma in chart.averages
            for number, value in enumerate(ewma.averages)
        }

    def fired_at(self, index: int) -> list[Fired]:
        return [one for one in self.fired if one.index == index]


def control_of(series: Series) -> Control:
    """Return the limits of each phase, and the rules that fired by them."""
    phases = [_phase_chart(series, phase) for phase in series.phases]
    fired = [
        one
        for chart in phases
        for one in _fired(series, chart)
        if one.rule in series.checks[one.index].procedure.watched_rules
    ]
    order = list(WatchedRule)
    fired.sort(key=lambda one: (one.index, order.index(one.rule)))
    return Control(series, phases, fired)


def _phase_chart(series: Series, phase: Phase) -> PhaseChart:
    if len(phase.baseline) - len(phase.left_out) < FEWEST:
        return PhaseChart(
            phase,
            missing=f"Fewer than {FEWEST} checks passed since {phase.cause}: no limits "
            "yet.",
        )
    try:
        baseline = individuals_baseline(
            phase.baseline, left_out=phase.left_out, starts=phase.baseline_starts
        )
    except MetrologyError as refusal:
        return PhaseChart(phase, missing=str(refusal))
    values = series.errors_um[phase.first : phase.stop]
    starts = _own_starts(series, phase)
    return PhaseChart(
        phase,
        baseline,
        individuals_chart(values, baseline, starts=starts),
        [
            (phase.first + first, ewma_chart(values[first:stop], baseline))
            for first, stop in pairwise([0, *starts, len(values)])
        ],
    )


def _own_starts(series: Series, phase: Phase) -> list[int]:
    """Return the breaks within a phase, counted from its first value."""
    return [
        one - phase.first for one in series.starts if phase.first < one < phase.stop
    ]


def _fired(series: Series, chart: PhaseChart) -> Iterator[Fired]:
    """Walk every rule that fired after the baseline, watched or not."""
    baseline, individuals, phase = chart.baseline, chart.individuals, chart.phase
    if baseline is None or individuals is None or baseline.is_provisional:
        return
    values = series.errors_um[phase.first : phase.stop]
    found: list[tuple[int, WatchedRule]] = [
        (signal.index, WatchedRule(f"{name} {signal.rule}"))
        for name, rules in SETS.items()
        for signal in signals(
            values, baseline, rules, starts=_own_starts(series, phase)
        )
    ]
    found += [(number, WatchedRule.RANGE) for number in individuals.ranges_beyond]
    found += [
        (first - phase.first + number, WatchedRule.EWMA)
        for first, ewma in chart.averages
        for number in ewma.beyond
    ]
    for number, rule in found:
        if number >= phase.in_baseline:
            words = _words(rule, values[number], baseline)
            yield Fired(phase.first + number, rule, words)


def _words(rule: WatchedRule, value_um: float, baseline: Baseline) -> str:
    return (
        f"{rule.label}. Mean error {said_um(value_um)}; the chart's centre is "
        f"{said_um(baseline.centre)}, its sigma {baseline.sigma:.1f} µm."
    )


def said_um(value_um: float) -> str:
    """Say a signed error to a tenth of a micrometre.

    >>> said_um(-12.34)
    '−12.3 µm'
    """
    return f"{value_um:+.1f} µm".replace("-", "\N{MINUS SIGN}")
