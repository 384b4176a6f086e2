"""Which devices are sensors, and what the air they measure can be at all."""

from __future__ import annotations

from typing import Final

from lab.environment.models import AirQuantity
from lab.equipment.models import DeviceKind

#: Kinds of device whose readings are kept as series.
SENSORS: Final = (DeviceKind.LOGGER, DeviceKind.CONTACT_THERMOMETER)

#: What a reading can be, with a wide margin: outside of it the unit is wrong, a digit
#: was lost or the sensor is broken (common practice, no source).
POSSIBLE: Final[dict[str, tuple[float, float]]] = {
    AirQuantity.TEMPERATURE: (-40.0, 85.0),
    AirQuantity.HUMIDITY: (0.0, 100.0),
}
#: A logger whose clock was lost starts again at 1970 or 2000 (common practice, no
#: source). 2001-01-01 00:00 UTC, in µs since 1970.
EARLIEST_US: Final = 978_307_200_000_000
