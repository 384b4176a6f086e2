"""What is asked about the air of the rooms."""

from lab.environment.selectors.corrections import corrections
from lab.environment.selectors.readings import (
    HourSummaries,
    envelope,
    hour_summaries,
    newest_reading,
    readings,
)
from lab.environment.selectors.rooms import (
    FRESH,
    Conditions,
    RoomNow,
    conditions,
    history_of,
    readings_in_force,
    rooms_now,
)
from lab.environment.selectors.sensors import Stay, sensors_in, stays_of

__all__ = [
    "FRESH",
    "Conditions",
    "HourSummaries",
    "RoomNow",
    "Stay",
    "conditions",
    "corrections",
    "envelope",
    "history_of",
    "hour_summaries",
    "newest_reading",
    "readings",
    "readings_in_force",
    "rooms_now",
    "sensors_in",
    "stays_of",
]
