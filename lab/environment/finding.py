"""What a room's readings show against its limits, as plain facts; nothing is written.

Only the readings themselves are looked at, never an envelope. A rate is the slope over
the window that the limits state; the spread is taken between sensors once a minute.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Final

import numpy as np

from lab.environment.models import AirQuantity, Excursion
from lab.environment.selectors.corrected import Series, series_in
from lab.equipment.models import Device
from lab.laboratory.models import ClimateLimits, Room
from lab.metrology import environment as air
from lab.metrology.units import Quantity

Kind = Excursion.Kind
SPREAD_STEP_S: Final = 60.0
#: A slope needs so much of its window covered (the computation's default).
NOWHERE: Final = (0.0, 0.0, 0.0)


@dataclass(frozen=True, slots=True)
class Found:
    """One excursion as the readings show it."""

    sensor: Device | None
    kind: str
    side: str
    start: datetime
    end: datetime
    worst: float | None
    worst_at: datetime | None
    limit: str
    runs_on: bool = False

    @property
    def channel(self) -> tuple[int | None, str]:
        return (self.sensor.pk if self.sensor else None, self.kind)


@dataclass(frozen=True, slots=True, eq=False)
class RoomReadings:
    """All readings of a room in a window: temperatures and humidities by sensor."""

    temperatures: list[Series]
    humidities: list[Series]

    @classmethod
    def of(cls, room: Room, start: datetime, end: datetime) -> RoomReadings:
        return cls(
            series_in(room, AirQuantity.TEMPERATURE, start, end),
            series_in(room, AirQuantity.HUMIDITY, start, end),
        )


def longest_step(limits: ClimateLimits) -> timedelta:
    return timedelta(minutes=limits.longest_gap_minutes)


def lead_in(limits: ClimateLimits) -> timedelta:
    """Return how long before a stretch readings bear on what is found in it."""
    return timedelta(minutes=limits.rate_window_minutes) + longest_step(limits)


def excursions_in(given: RoomReadings, limits: ClimateLimits) -> list[Found]:
    """Return every excursion from limits that readings show, gaps among them."""
    step_s = longest_step(limits).total_seconds()
    found: list[Found] = []
    for series in given.temperatures:
        found += _of_band(series, _temperature_band(limits), Kind.TEMPERATURE, step_s)
        found += _of_rate(series, limits, step_s)
        found += _gaps(series, limits, step_s)
    for series in given.humidities:
        found += _of_band(series, _humidity_band(limits), Kind.HUMIDITY, step_s)
    found += _of_spread(given.temperatures, limits, step_s)
    return sorted(found, key=lambda one: one.start)


def _of_band(
    series: Series, given: tuple[air.Band, str] | None, kind: str, step_s: float
) -> Iterator[Found]:
    if given is None:
        return
    band, words = given
    yield from _as_found(
        air.excursions(series.readings, band, step_s),
        series.sensor,
        kind,
        words,
        float(series.readings.times_s[-1]),
    )


def _of_rate(series: Series, limits: ClimateLimits, step_s: float) -> Iterator[Found]:
    if limits.rate is None:
        return
    rate = rate_of(series.readings, limits)
    if not len(rate.times_s):
        return
    most = float(limits.rate.value)
    slopes = air.Readings(rate.times_s, rate.per_hour)
    yield from _as_found(
        air.excursions(slopes, air.Band(-most, most), step_s),
        series.sensor,
        Kind.RATE,
        f"at most {limits.rate}, {rate.window_words}",
        float(series.readings.times_s[-1]),
    )


def rate_of(
    readings: air.Readings,
    limits: ClimateLimits,
    within: Sequence[air.Window] | None = None,
) -> air.RateOfChange:
    """Return the rate of change over the window that the limits state."""
    return air.rate_of_change(
        readings,
        longest_step(limits).total_seconds(),
        window_s=60.0 * limits.rate_window_minutes,
        within=within,
    )


def _of_spread(
    series: Sequence[Series], limits: ClimateLimits, step_s: float
) -> Iterator[Found]:
    if limits.spread is None:
        return
    spread = spread_between(series, step_s)
    if spread is None:
        return
    most = float(limits.spread.value)
    yield from _as_found(
        air.excursions(spread, air.Band(None, most), 2 * SPREAD_STEP_S),
        None,
        Kind.SPREAD,
        f"at most {limits.spread}",
        float(spread.times_s[-1]),
    )


def spread_between(series: Sequence[Series], step_s: float) -> air.Readings | None:
    """Return the largest less the smallest of a room's sensors, once a minute."""
    by_tag: dict[str, list[air.Readings]] = {}
    for one in series:
        by_tag.setdefault(one.sensor.tag, []).append(one.readings)
    if len(by_tag) < 2:
        return None
    joined = {
        tag: air.Readings(
            np.concatenate([one.times_s for one in parts]),
            np.concatenate([one.values for one in parts]),
        )
        for tag, parts in by_tag.items()
    }
    first = max(float(one.times_s[0]) for one in joined.values())
    last = min(float(one.times_s[-1]) for one in joined.values())
    minutes = np.arange(
        np.ceil(first / SPREAD_STEP_S), np.floor(last / SPREAD_STEP_S) + 1
    )
    if not len(minutes):
        return None
    places = dict.fromkeys(joined, NOWHERE)
    found = air.spatial_gradient(joined, places, minutes * SPREAD_STEP_S, step_s)
    if not len(found.times_s):
        return None
    return air.Readings(found.times_s, found.spread)


def _gaps(series: Series, limits: ClimateLimits, step_s: float) -> Iterator[Found]:
    times = series.readings.times_s
    for index in np.flatnonzero(np.diff(times) > step_s).tolist():
        yield Found(
            series.sensor,
            Kind.GAP,
            "",
            instant(times[index]),
            instant(times[index + 1]),
            None,
            None,
            f"a reading every {limits.longest_gap_minutes} min",
        )


def _as_found(
    excursions: Iterable[air.Excursion],
    sensor: Device | None,
    kind: str,
    limit: str,
    newest_s: float,
) -> Iterator[Found]:
    for one in excursions:
        yield Found(
            sensor,
            kind,
            one.side.value,
            instant(one.start_s),
            instant(one.end_s),
            one.worst,
            instant(one.worst_at_s),
            limit,
            runs_on=one.is_cut_at_end and one.end_s >= newest_s,
        )


def _temperature_band(limits: ClimateLimits) -> tuple[air.Band, str]:
    low, high = limits.temperature_lowest, limits.temperature_highest
    return air.Band(float(low.value), float(high.value)), f"{low} to {high}"


def _humidity_band(limits: ClimateLimits) -> tuple[air.Band, str] | None:
    low, high = limits.humidity_lowest, limits.humidity_highest
    if low is None and high is None:
        return None
    words = f"{low or 'none'} to {high or 'none'}"
    return air.Band(_number(low), _number(high)), words


def _number(quantity: Quantity | None) -> float | None:
    return None if quantity is None else float(quantity.value)


def instant(seconds: float) -> datetime:
    """Return seconds since 1970 as an instant, to the millisecond."""
    return datetime.fromtimestamp(round(float(seconds), 3), tz=UTC)
