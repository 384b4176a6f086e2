"""The air of a room over the stretches in which something was measured, by its loggers.

Means and shares are weighted by time; gaps are reported, never bridged. The printed
words are made here, so that a certificate freezes exactly what was summed up.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime

from lab.environment.finding import lead_in, longest_step, rate_of
from lab.environment.models import AirQuantity
from lab.environment.selectors.corrected import Series, series_in
from lab.laboratory.models import ClimateLimits, Room
from lab.metrology import environment as air

MINUS = "\N{MINUS SIGN}"


@dataclass(frozen=True, slots=True)
class SensorSummary:
    """One sensor over the windows: temperature, and humidity where it measures that."""

    tag: str
    count: int
    is_corrected: bool
    temperature: air.Conditions
    worst_rate_k_per_h: float | None
    rate_words: str


@dataclass(frozen=True, slots=True)
class RoomSummary:
    """A room over windows against the limits of the room and of the method."""

    sensors: tuple[SensorSummary, ...]
    humidities: tuple[air.Conditions, ...]
    first_at: datetime
    last_at: datetime
    longest_gap_minutes: int

    @property
    def count(self) -> int:
        return sum(one.count for one in self.sensors)

    @property
    def lowest_degc(self) -> float | None:
        return _least(one.temperature.lowest for one in self.sensors)

    @property
    def highest_degc(self) -> float | None:
        return _most(one.temperature.highest for one in self.sensors)

    @property
    def temperature_text(self) -> str:
        return _span(self.lowest_degc, self.highest_degc, "°C", 1)

    @property
    def humidity_text(self) -> str:
        lowest = _least(one.lowest for one in self.humidities)
        highest = _most(one.highest for one in self.humidities)
        return _span(lowest, highest, "%", 0)

    @property
    def words(self) -> str:
        """Return the summary in sentences, one a sensor."""
        return " ".join(self._of_sensor(one) for one in self.sensors)

    def _of_sensor(self, one: SensorSummary) -> str:
        found = one.temperature
        if found.mean is None:
            return f"{one.tag}: no readings."
        parts = [f"mean {_number(found.mean, 2)} °C over time"]
        if one.worst_rate_k_per_h is not None:
            rate = _number(one.worst_rate_k_per_h, 2)
            parts.append(f"fastest change {rate} K/h ({one.rate_words})")
        if found.share_inside is not None:
            parts.append(f"{100 * found.share_inside:.3g} % of the time read inside")
        parts.append(self._gaps(found))
        said = "corrected" if one.is_corrected else "as read, no corrections stated"
        return f"{one.tag} ({said}): {', '.join(parts)}."

    def _gaps(self, found: air.Conditions) -> str:
        missing = [one for one in found.gaps if one.is_too_long]
        if not missing:
            return f"no readings missing for over {self.longest_gap_minutes} min"
        minutes = sum(one.length_s for one in missing) / 60
        return f"readings missing for {minutes:.0f} min in all"


def summary_of(
    room: Room,
    windows: Sequence[tuple[datetime, datetime]],
    limits: Sequence[ClimateLimits],
) -> RoomSummary | None:
    """Sum up a room over windows by its loggers; None where none read anything.

    Parameters
    ----------
    room : Room
    windows : sequence of pairs of datetime
        In order and apart: the measuring segments of a session.
    limits : sequence of ClimateLimits
        Those of the room first; the narrowest of all count.
    """
    kept = [one for one in windows if one[0] < one[1]]
    if not kept:
        return None
    own = limits[0]
    spans = [air.Window(one.timestamp(), two.timestamp()) for one, two in kept]
    step, lead = longest_step(own), lead_in(own)
    start, end = kept[0][0] - lead, kept[-1][1] + step
    warm = series_in(room, AirQuantity.TEMPERATURE, start, end)
    sensors = [_summed(one, spans, limits, step.total_seconds()) for one in warm]
    sensors = [one for one in sensors if one.temperature.mean is not None]
    if not sensors:
        return None
    damp = series_in(room, AirQuantity.HUMIDITY, start, end)
    return RoomSummary(
        sensors=tuple(sensors),
        humidities=tuple(
            air.conditions_over(one.readings, spans, step.total_seconds())
            for one in damp
        ),
        first_at=kept[0][0],
        last_at=kept[-1][1],
        longest_gap_minutes=own.longest_gap_minutes,
    )


def _summed(
    series: Series,
    spans: Sequence[air.Window],
    limits: Sequence[ClimateLimits],
    step_s: float,
) -> SensorSummary:
    low = max(float(one.temperature_lowest.value) for one in limits)
    high = min(float(one.temperature_highest.value) for one in limits)
    # Limits that leave nothing between them are nobody's: then no share is stated.
    band = air.Band(low, high) if low < high else None
    rate = rate_of(series.readings, limits[0], within=spans)
    times = series.readings.times_s
    inside = sum(
        int(((times >= one.start_s) & (times < one.end_s)).sum()) for one in spans
    )
    return SensorSummary(
        tag=series.sensor.tag,
        count=inside,
        is_corrected=series.is_corrected,
        temperature=air.conditions_over(series.readings, spans, step_s, band),
        worst_rate_k_per_h=rate.worst_per_hour,
        rate_words=rate.window_words,
    )


def _least(values: Iterable[float | None]) -> float | None:
    return min((one for one in values if one is not None), default=None)


def _most(values: Iterable[float | None]) -> float | None:
    return max((one for one in values if one is not None), default=None)


def _span(lowest: float | None, highest: float | None, unit: str, places: int) -> str:
    if lowest is None or highest is None:
        return ""
    low, high = _number(lowest, places), _number(highest, places)
    return f"{low} {unit}" if low == high else f"{low} {unit} to {high} {unit}"


def _number(value: float, places: int) -> str:
    return f"{value:.{places}f}".replace("-", MINUS)
