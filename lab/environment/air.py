"""The air of a room now: by the loggers that stand in it, else as read by hand."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final

from lab.environment.finding import instant, lead_in, longest_step, rate_of
from lab.environment.models import AirQuantity
from lab.environment.selectors.corrected import Series, series_in
from lab.environment.selectors.rooms import FRESH, readings_in_force
from lab.environment.selectors.sensors import sensors_in
from lab.equipment.models import Device
from lab.laboratory.models import ClimateLimits, Room

MINUS: Final = "\N{MINUS SIGN}"


@dataclass(frozen=True, slots=True)
class SensorNow:
    """What one sensor read last: value, when, and how fast it changes."""

    sensor: Device
    position: str
    degc: float
    at: datetime
    rate_k_per_h: float | None
    percent: float | None


@dataclass(frozen=True, slots=True)
class RoomAir:
    """A room by its loggers at an instant, against limits.

    ``silent`` are sensors that stand there and said nothing within the hour.
    """

    room: Room
    at: datetime
    sensors: tuple[SensorNow, ...]
    silent: tuple[Device, ...]

    @property
    def newest_at(self) -> datetime | None:
        return max((one.at for one in self.sensors), default=None)

    @property
    def is_stale(self) -> bool:
        """Tell whether no reading is as new as readings have to be."""
        newest = self.newest_at
        return newest is None or self.at - newest > longest_step(self.room)

    @property
    def degc(self) -> float | None:
        if not self.sensors:
            return None
        return sum(one.degc for one in self.sensors) / len(self.sensors)

    @property
    def rate_k_per_h(self) -> float | None:
        """Return the fastest change among the sensors, with its sign."""
        rates = [
            one.rate_k_per_h for one in self.sensors if one.rate_k_per_h is not None
        ]
        return max(rates, key=abs, default=None)

    def outside(self, limits: ClimateLimits) -> list[str]:
        """Say what is outside some limits, a phrase each; empty where nothing is."""
        return [*_temperature(self, limits), *_others(self, limits)]

    @property
    def word(self) -> str:
        if self.is_stale:
            return "Stale"
        return "Outside its limits" if self.outside(self.room) else "Inside its limits"

    @property
    def shape(self) -> str:
        if self.is_stale:
            return "state-wait"
        return "state-bad" if self.outside(self.room) else "state-good"

    @property
    def value_text(self) -> str:
        return "" if self.degc is None else f"{self.degc:.1f} °C".replace("-", MINUS)

    @property
    def rate_text(self) -> str:
        """Return the rate with its window, which belongs to the statement."""
        rate = self.rate_k_per_h
        if rate is None:
            return "rate not known yet"
        said = f"{rate:+.1f} K/h".replace("-", MINUS)
        return f"{said} over {self.room.rate_window_minutes} min"

    @property
    def age_text(self) -> str:
        newest = self.newest_at
        if newest is None:
            return "no reading within the hour"
        minutes = max(0, int((self.at - newest).total_seconds() // 60))
        return f"newest reading {minutes} min old"


def room_air(room: Room, at: datetime) -> RoomAir | None:
    """Return a room's air by its loggers, or None where none stands in it."""
    window = timedelta(minutes=room.rate_window_minutes)
    start, end = at - max(lead_in(room), FRESH, window), at + timedelta(seconds=1)
    stays = sensors_in(room, at, end)
    if not stays:
        return None
    standing = {stay.sensor.pk: stay for stay in stays}
    warm = _newest(series_in(room, AirQuantity.TEMPERATURE, start, end))
    damp = _newest(series_in(room, AirQuantity.HUMIDITY, start, end))
    found = [
        SensorNow(
            series.sensor,
            series.position,
            float(series.readings.values[-1]),
            instant(series.readings.times_s[-1]),
            _rate(series, room),
            float(damp[pk].readings.values[-1]) if pk in damp else None,
        )
        for pk, series in warm.items()
        if pk in standing
    ]
    silent = [stay.sensor for pk, stay in standing.items() if pk not in warm]
    return RoomAir(room, at, tuple(found), tuple(silent))


def _newest(series: list[Series]) -> dict[int, Series]:
    return {one.sensor.pk: one for one in series}


def _rate(series: Series, room: Room) -> float | None:
    rate = rate_of(series.readings, room)
    newest = series.readings.times_s[-1]
    if not len(rate.times_s) or rate.times_s[-1] < newest:
        return None
    return float(rate.per_hour[-1])


def _temperature(air: RoomAir, limits: ClimateLimits) -> Iterator[str]:
    low, high = limits.temperature_lowest, limits.temperature_highest
    for one in air.sensors:
        if not float(low.value) <= one.degc <= float(high.value):
            yield f"{one.sensor.tag} at {one.degc:.1f} °C; allowed is {low} to {high}"
        rate, most = one.rate_k_per_h, limits.rate
        if rate is not None and most is not None and abs(rate) > float(most.value):
            over = f"over {air.room.rate_window_minutes} min"
            yield f"{one.sensor.tag} changes by {rate:+.1f} K/h {over}; at most {most}"


def _others(air: RoomAir, limits: ClimateLimits) -> Iterator[str]:
    values = [one.degc for one in air.sensors]
    if limits.spread is not None and len(values) > 1:
        spread = max(values) - min(values)
        if spread > float(limits.spread.value):
            yield f"{spread:.1f} K between sensors; at most {limits.spread}"
    low, high = limits.humidity_lowest, limits.humidity_highest
    for one in air.sensors:
        percent = one.percent
        if percent is None:
            continue
        if low is not None and percent < float(low.value):
            yield f"{one.sensor.tag} at {percent:.0f} %; at least {low}"
        if high is not None and percent > float(high.value):
            yield f"{one.sensor.tag} at {percent:.0f} %; at most {high}"


# --- What a part soaks in -------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class AirNow:
    """A room's temperature, its drift where loggers tell of it, and where it is from.

    ``drift_k_per_h`` is 0 where nothing is known of it; ``words`` says so.
    """

    degc: float
    drift_k_per_h: float
    at: datetime
    words: str


def air_now(room: Room, at: datetime) -> AirNow | None:
    """Return how warm a room is and how it drifts, or None without a fresh reading."""
    air = room_air(room, at)
    if air is not None and air.newest_at is not None and air.degc is not None:
        tags = ", ".join(one.sensor.tag for one in air.sensors)
        words = f"{room.name} at {air.value_text}, {air.rate_text} ({tags})"
        return AirNow(air.degc, air.rate_k_per_h or 0.0, air.newest_at, words)
    read = readings_in_force(room).filter(at__gt=at - FRESH, at__lte=at).first()
    if read is None:
        return None
    return AirNow(
        float(read.temperature.value),
        0.0,
        read.at,
        f"{room.name} at {read.temperature}, read by hand; taken as steady",
    )
