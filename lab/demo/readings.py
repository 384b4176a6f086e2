"""A year of the loggers, and a sunny week in July under the rooflight.

Temperatures follow the seasons, the day and slow weather; the Long Room's afternoon
sun in that week warms it by more than its limit an hour, the Net Loft hardly notices.
Each room has one logger all year and two more since the June before that July. The
newest week of one of them came as a file, with what such files have in them.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from typing import Any, Final
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from lab.common import clock
from lab.common.files.store import store_file
from lab.common.work.running import work_off
from lab.demo.daily import SUNNY_DAYS
from lab.demo.laboratory import ZONE
from lab.demo.world import World, moment
from lab.environment.importing import guess_of
from lab.environment.services import (
    begin_import,
    confirm_import,
    place_sensor,
    store_readings,
)
from lab.environment.times import us_of

STEP_US: Final = 600_000_000
SEED: Final = 1776
#: How much of the sun each logger of the Long Room gets, the first below the rooflight.
IN_THE_SUN: Final = {"LG-1": 1.0, "LG-2": 0.85, "LG-3": 0.7}
POSITIONS: Final = (
    "Below the rooflight, 1.5 m up",
    "Beside the tracker, 1.5 m up",
    "North wall, 1.5 m up",
    "Beside the tracker, 1.2 m up",
    "At the door, 1.5 m up",
    "Gable wall, 1.8 m up",
)
BY_FILE: Final = "LG-6"
#: Those that stood there from the first day on; lately they read humidity as well.
ALL_YEAR: Final = ("LG-1", "LG-4")
HUMID_DAYS: Final = 60

_Values = NDArray[np.float64]


def fill_readings(world: World) -> None:
    """Place the loggers and keep their year up to now, one week of one by a file."""
    end = max(moment(world.last_day, 23, 50), clock.now())
    hand = world.staff.technicians[0]
    rng = np.random.default_rng(SEED)
    for (tag, logger), position in zip(
        world.register.loggers.items(), POSITIONS, strict=True
    ):
        start = moment(world.first_day if tag in ALL_YEAR else joined_on(world), 7, 0)
        with clock.set_to(start):
            place_sensor(
                sensor=logger,
                room=logger.room,
                since=start,
                position=position,
                acting_user=hand,
            )
        times = np.arange(us_of(start), us_of(end), STEP_US)
        with clock.set_to(end):
            _keep_all(world, tag, times, rng)
    with clock.set_to(end):
        work_off()


def joined_on(world: World) -> date:
    """Return the June before the sunny week that the year holds, or its first day."""
    last = world.last_day
    is_over = last > date(last.year, 7, SUNNY_DAYS[-1])
    return max(world.first_day, date(last.year - (not is_over), 6, 1))


def _keep_all(
    world: World, tag: str, times: NDArray[np.int64], rng: np.random.Generator
) -> None:
    temperatures = temperatures_of(tag, times, rng)
    week = int(np.searchsorted(times, times[-1] - 7 * 144 * STEP_US))
    if tag == BY_FILE:
        _import(world, times[week:], temperatures[week:])
        times, temperatures = times[:week], temperatures[:week]
    _keep(world, tag, "temperature", times, temperatures)
    if tag in ALL_YEAR:
        lately = times[-HUMID_DAYS * 144 :]
        _keep(world, tag, "humidity", lately, humidities_of(lately, rng))


def temperatures_of(
    tag: str, times: NDArray[np.int64], rng: np.random.Generator
) -> _Values:
    """Return what a logger shows, in °C to the hundredth, as it writes them."""
    local_s = _local_s(times)
    season, hours = _season(local_s), local_s / 3600.0 % 24.0
    # Weather: what is left of yesterday, and something new each step.
    steps = rng.normal(0.0, 0.004, len(times))
    weather = np.zeros(len(times))
    for index in range(1, len(times)):
        weather[index] = 0.998 * weather[index - 1] + steps[index]
    noise = rng.normal(0.0, 0.008, len(times))
    daily = np.sin(2 * np.pi * (hours - 9.0) / 24.0)
    if tag not in IN_THE_SUN:
        values = 20.0 + 0.3 * season + 0.08 * daily + weather + noise
    else:
        sun = IN_THE_SUN[tag] * _sun(local_s)
        values = 20.4 + 0.6 * season + 0.3 * daily + weather + noise + sun
    return np.asarray(np.round(values, 2))


def humidities_of(times: NDArray[np.int64], rng: np.random.Generator) -> _Values:
    local_s = _local_s(times)
    season, hours = _season(local_s), local_s / 3600.0 % 24.0
    daily = np.sin(2 * np.pi * (hours - 3.0) / 24.0)
    noise = rng.normal(0.0, 0.3, len(times))
    return np.asarray(np.round(50.0 + 4.0 * season + 1.5 * daily + noise, 1))


def _sun(local_s: _Values) -> _Values:
    """Return the warming by the rooflight in the afternoons of the sunny week.

    What is left of it at midnight goes on to fade in the next day.
    """
    hours = local_s / 3600.0 % 24.0
    rise = 3.2 * (1.0 - np.exp(-np.clip(hours - 15.0, 0.0, 3.0) / 1.2))
    today = rise * np.exp(-np.clip(hours - 18.0, 0.0, None) / 4.5)
    left = 3.2 * (1.0 - np.exp(-3.0 / 1.2)) * np.exp(-(hours + 6.0) / 4.5)
    days = (local_s // 86400.0).astype(np.int64)
    return np.where(_is_sunny(days), today, 0.0) + np.where(
        _is_sunny(days - 1), left, 0.0
    )


def _is_sunny(days: NDArray[np.int64]) -> NDArray[np.bool_]:
    dates = days.astype("datetime64[D]")
    months = dates.astype("datetime64[M]")
    in_july = months.astype(int) % 12 == 6
    in_week = np.isin((dates - months).astype(int) + 1, list(SUNNY_DAYS))
    return np.asarray(in_july & in_week, np.bool_)


def _local_s(times: NDArray[np.int64]) -> _Values:
    """Return the lab's wall clock in seconds since 1970, a day's offset at its noon."""
    zone = ZoneInfo(ZONE)
    days, place = np.unique(times // 86_400_000_000, return_inverse=True)
    noons = [
        datetime.fromtimestamp(day * 86400 + 43200, UTC).astimezone(zone)
        for day in days.tolist()
    ]
    offsets = [(noon.utcoffset() or timedelta()).total_seconds() for noon in noons]
    return np.asarray(times / 1e6 + np.array(offsets)[place])


def _season(local_s: _Values) -> _Values:
    """Return -1 in the cold of late January and 1 half a year later."""
    days = local_s / 86400.0 % 365.25  # 1970 began on a first of January
    return np.asarray(-np.cos(2 * np.pi * (days - 20) / 365.25))


def _keep(
    world: World, tag: str, quantity: str, times: NDArray[np.int64], values: _Values
) -> None:
    store_readings(
        sensor=world.register.loggers[tag],
        quantity=quantity,
        times_us=times,
        values=values,
        source=f"key “gateway of {world.house.site.name}”",
        acting_user=world.staff.technicians[0],
    )


def _import(world: World, times: NDArray[np.int64], values: _Values) -> None:
    """Bring the newest week of a logger in as the file that it wrote."""
    rows: list[Any] = [
        f"{np.datetime64(int(us), 'us').astype('datetime64[s]')};{value:.2f}".replace(
            ".", ","
        )
        for us, value in zip(times, values, strict=True)
    ]
    rows[300] = rows[299]  # written twice when the card was full
    rows[411:414] = [rows[411], "", "battery low"]
    text = f"UTC;{BY_FILE} Temperature (°C)\n" + "\n".join(rows) + "\n"
    hand = world.staff.technicians[1]
    stored = store_file(text.encode(), name=f"{BY_FILE}.csv", kind="readings")
    taken = begin_import(
        file=stored,
        name=stored.original_name,
        source_name=f"Memory card of {BY_FILE}",
        acting_user=hand,
    )
    found = guess_of(taken).layout

    layout = replace(found, zone="UTC")
    confirm_import(reading_import=taken, layout=layout, acting_user=hand)
