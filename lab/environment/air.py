"""The air that a part soaks in: how warm a room is now, and how fast it drifts."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from lab.environment.selectors import FRESH, readings_in_force
from lab.laboratory.models import Room


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
    """Return how warm a room is, by its newest reading that is not stale."""
    read = readings_in_force(room).filter(at__gt=at - FRESH, at__lte=at).first()
    if read is None:
        return None
    return AirNow(
        float(read.temperature.value),
        0.0,
        read.at,
        f"{room.name} at {read.temperature}, read by hand; taken as steady",
    )
