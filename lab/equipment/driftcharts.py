"""The drift of a calibrated value as a picture, with limit, trend and its band."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from decimal import Decimal
from typing import Final

from scipy.stats import t as student

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
from lab.equipment.drift import Drift, Found
from lab.metrology.adjustment import StraightLine, calibration_line

DAYS_IN_YEAR: Final = 365.25
PROBABILITY: Final = 0.95
STEPS: Final = 40
#: How far past the last value, or past the day of leaving, the picture goes.
AHEAD: Final = timedelta(days=365)


@dataclass(frozen=True, slots=True)
class DriftRow:
    """A value in the table behind the picture, as it is printed."""

    found: Found
    value: str
    error: str
    expanded_u: str
    is_in_trend: bool


@dataclass(frozen=True, slots=True)
class DriftShown:
    """A drift as its page shows it."""

    drift: Drift

    @property
    def picture(self) -> Picture:
        return drift_picture(self.drift)

    @property
    def rows(self) -> list[DriftRow]:
        drift = self.drift
        base = "mm" if drift.unit == "µm" else "K"
        return [
            DriftRow(
                found=point,
                value=f"{point.value.normalize():f} {base}",
                error=f"{tidy(drift.error(point)):+f}",
                expanded_u=f"{tidy(point.expanded_u * 1000):f}",
                is_in_trend=place >= drift.since,
            )
            for place, point in enumerate(drift.points)
        ]

    @property
    def slope_words(self) -> str:
        """Return the drift per year, with its standard uncertainty."""
        found = self.drift.forecast
        if found is None:
            return ""
        slope, u = found.slope * DAYS_IN_YEAR, found.u_slope * DAYS_IN_YEAR
        return f"{slope:+.2f} {self.drift.unit} a year, u = {u:.2f} {self.drift.unit}"

    @property
    def limit_words(self) -> str:
        limit = self.drift.limit_shown
        return "" if limit is None else f"±{tidy(limit):f} {self.drift.unit}"


def tidy(number: Decimal) -> Decimal:
    """Return a number to a hundredth, without zeros that say nothing."""
    rounded = number.quantize(Decimal("0.01"))
    return rounded.quantize(Decimal("0.1")) if rounded * 10 % 1 == 0 else rounded


def drift_picture(drift: Drift) -> Picture:
    """Lay out the history of a value, with its trend continued to the limit."""
    days = [point.day for point in drift.points]
    last = (
        max([days[-1], *filter(None, (drift.expected_on, drift.earliest_on))]) + AHEAD
    )
    return laid_out(
        Plot(
            title=f"Drift of {drift.label} of {drift.device.tag}",
            description=_description(drift),
            unit=drift.unit,
            start=_noon(days[0] - timedelta(days=30)),
            end=_noon(last),
            lines=[*_trend(drift, last), *_values(drift)],
            levels=_limits(drift),
            marks=_marks(drift),
        )
    )


def _description(drift: Drift) -> str:
    found = drift.forecast
    words = found.words if found else "Too few values, or no limit, for a trend."
    return f"{len(drift.points)} values counted from {drift.reference_words}. {words}"


def _values(drift: Drift) -> Sequence[Line]:
    """Draw each value with a bar of ±U through it."""
    lines = []
    for point in drift.points:
        error, half = float(drift.error(point)), float(point.expanded_u * 1000)
        at = _noon(point.day)
        bar = [Point(at, error - half), Point(at, error + half)]
        lines.append(Line(bar, tone=Tone.QUIET, title="± U"))
        lines.append(Line([_sign(drift, point, at, error)]))
    return lines


def _sign(drift: Drift, point: Found, at: datetime, error: float) -> Point:
    is_out = drift.limit_shown is not None and abs(error) > drift.limit_shown
    number = point.calibration.certificate_number
    found = "as found" if point.was_found else "as left"
    return Point(
        at,
        error,
        shape=Shape.RING if point.was_found else Shape.DOT,
        tone=Tone.BAD if is_out else Tone.INK,
        title=f"{number}, {found}: {error:+.3g} {drift.unit}",
    )


def _limits(drift: Drift) -> Sequence[Level]:
    if drift.limit_shown is None:
        return ()
    limit = float(drift.limit_shown)
    return [
        Level(limit, f"+{limit:.3g} {drift.unit}", Tone.BAD),
        Level(0.0, "reference", Tone.QUIET, dashed=True),
        Level(-limit, f"−{limit:.3g} {drift.unit}", Tone.BAD),
    ]


def _trend(drift: Drift, last: date) -> Sequence[Line]:
    """Draw the line and its one-sided 95 % band, on to the end of the picture."""
    if drift.forecast is None:
        return ()
    shown = drift.trend_points
    origin = shown[-1].day
    line = calibration_line(
        [(point.day - origin).days for point in shown],
        [float(drift.error(point)) for point in shown],
    )
    quantile = float(student.ppf(PROBABILITY, line.degrees_of_freedom))
    first, span = shown[0].day, (last - shown[0].day).days
    times = [first + timedelta(days=span * step // STEPS) for step in range(STEPS + 1)]
    middle, upper, lower = [], [], []
    for day in times:
        x = (day - origin).days
        at, value, half = _noon(day), line.at(x), quantile * _u_of_line(line, x)
        middle.append(Point(at, value))
        upper.append(Point(at, value + half))
        lower.append(Point(at, value - half))
    return [
        Line(middle, tone=Tone.INK, title="Trend"),
        Line(upper, tone=Tone.WAIT, dashed=True, title="Upper edge, 95 %"),
        Line(lower, tone=Tone.WAIT, dashed=True, title="Lower edge, 95 %"),
    ]


def _u_of_line(line: StraightLine, x: float) -> float:
    variance = line.u_intercept**2 + 2 * x * line.covariance + (x * line.u_slope) ** 2
    return float(max(variance, 0.0) ** 0.5)


def _marks(drift: Drift) -> Sequence[Mark]:
    marks = [
        Mark(_noon(point.day), "A", "Adjusted at this calibration", Tone.WAIT)
        for point in drift.points
        if point.calibration.adjusted and not point.was_found
    ]
    for day, letter, words, tone in (
        (drift.earliest_on, "E", "Earliest day of leaving the limit (95 %)", Tone.BAD),
        (drift.expected_on, "X", "Expected day of leaving the limit", Tone.WAIT),
    ):
        if day is not None:
            marks.append(Mark(_noon(day), letter, f"{words}: {day}", tone))
    return marks


def _noon(day: date) -> datetime:
    return datetime.combine(day, time(12), tzinfo=UTC)
