"""Keeping readings: each once, by sensor and instant, and none ever overwritten."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from lab.common import audit, clock
from lab.common.actors import Actor
from lab.common.errors import NotAcceptable
from lab.common.services import service
from lab.environment.keeping import Stored, keep
from lab.environment.models import AirQuantity
from lab.environment.sensors import EARLIEST_US, POSSIBLE, SENSORS
from lab.environment.times import instant_of, us_of
from lab.equipment.models import Device
from lab.metrology.arrays import same_length, vector
from lab.metrology.environment.packing import whole_numbers
from lab.metrology.errors import MetrologyError


@service(may="environment.record")
def store_readings(
    *,
    sensor: Device,
    quantity: str,
    times_us: ArrayLike,
    values: ArrayLike,
    source: str,
    acting_user: Actor,
) -> Stored:
    """Keep readings of one channel, as the sensor gave them, uncorrected.

    A reading that is kept already changes nothing. One at an instant that holds
    another value is refused and returned as a conflict: nothing is overwritten.
    The whole batch leaves one entry in the audit.

    Parameters
    ----------
    sensor : Device
        A logger or contact thermometer.
    quantity : str
        One of ``AirQuantity``; values are in its unit (°C, %).
    times_us : array_like of int, shape (N,)
        µs since 1970-01-01 00:00 UTC, in any order.
    values : array_like, shape (N,)
        Finite.
    source : str
        Where they come from, for the record: the name of a file, a token's name.

    Raises
    ------
    NotAcceptable
        If the device is no sensor, or any reading can't be: NaN, impossible air, an
        instant in the future or before 2001. Then nothing of the batch is kept.
    """
    times, series = _required(sensor, quantity, times_us, values)
    stored = keep(sensor, quantity, times, series)
    if not stored.added and not len(stored.conflicts):
        audit.nothing_changed()
        return stored
    audit.record(
        "readings.stored",
        sensor,
        actor=acting_user,
        after={
            "quantity": str(quantity),
            "source": source,
            "from": instant_of(int(times.min())),
            "to": instant_of(int(times.max())),
            **stored.in_words(),
        },
    )
    return stored


def _required(
    sensor: Device, quantity: str, times_us: ArrayLike, values: ArrayLike
) -> tuple[Any, Any]:
    """Return the readings as arrays, or refuse what can't be."""
    if sensor.kind not in SENSORS:
        raise NotAcceptable(
            f"{sensor.tag} is no logger and no thermometer.", field="sensor"
        )
    if quantity not in AirQuantity.values:
        raise NotAcceptable(f"No sensor measures {quantity}.", field="quantity")
    try:
        times = whole_numbers("times_us", times_us)
        series = vector("values", values, minimum=0)
        same_length(times_us=times, values=series)
    except MetrologyError as error:
        raise NotAcceptable(str(error), field="values") from None
    lowest, highest = POSSIBLE[quantity]
    _refuse_any(series, (series < lowest) | (series > highest), quantity)
    latest = us_of(clock.now() + clock.TOLERATED_FUTURE)
    if len(times) and (times.min() < EARLIEST_US or times.max() > latest):
        raise NotAcceptable(
            "A reading lies in the future or before 2001. Set the logger's clock.",
            field="times_us",
        )
    return times, series


def _refuse_any(series: Any, is_wrong: Any, quantity: str) -> None:
    if is_wrong.any():
        first = float(series[np.flatnonzero(is_wrong)[0]])
        lowest, highest = POSSIBLE[quantity]
        unit = AirQuantity(quantity).unit
        raise NotAcceptable(
            f"{first:g} {unit} is no {AirQuantity(quantity).label.lower()} of a room: "
            f"it must lie from {lowest:g} to {highest:g} {unit}.",
            field="values",
        )
