"""The air while a session measured, against the limits of its room and its method."""

from __future__ import annotations

from datetime import datetime

from lab.common import clock
from lab.environment.selectors import sensors_in
from lab.environment.summaries import RoomSummary
from lab.environment.summaries import summary_of as summary_of_room
from lab.equipment.models import Device
from lab.jobs.models import MeasuringSession
from lab.jobs.selectors import agreement_in_force, segments
from lab.laboratory.models import ClimateLimits


def measured_windows(session: MeasuringSession) -> list[tuple[datetime, datetime]]:
    """Return the stretches in which a session measured; one that runs, up to now."""
    return [(one.start, one.end or clock.now()) for one in segments(session)]


def limits_of(session: MeasuringSession) -> list[ClimateLimits]:
    """Return the limits that a session is held to: the room's, the agreed method's."""
    agreement = agreement_in_force(session.job)
    limits: list[ClimateLimits] = [session.room]
    return limits if agreement is None else [*limits, agreement.method]


def summary_of(session: MeasuringSession) -> RoomSummary | None:
    """Return the air of a session by its room's loggers, None where there are none."""
    windows = measured_windows(session)
    return summary_of_room(session.room, windows, limits_of(session))


def loggers_of(session: MeasuringSession) -> list[Device]:
    """Return the loggers that stood in a session's room while it measured."""
    windows = [one for one in measured_windows(session) if one[0] < one[1]]
    if not windows:
        return []
    stays = sensors_in(session.room, windows[0][0], windows[-1][1])
    return list({stay.sensor.pk: stay.sensor for stay in stays}.values())
