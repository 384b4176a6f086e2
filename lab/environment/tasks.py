"""What the worker does about the air of the rooms."""

from __future__ import annotations

from lab.common.actors import PROGRAM
from lab.common.work.kinds import Kind
from lab.environment.importing import import_readings
from lab.environment.services import look_through


def find_excursions(sensor_id: int) -> None:
    """Look through all new readings of a sensor, stretch by stretch."""
    while look_through(sensor_id=sensor_id, acting_user=PROGRAM):
        pass


KINDS = {
    "environment.find_excursions": Kind(find_excursions, limit_s=900),
    "environment.import_readings": Kind(import_readings, limit_s=3600, tries=20),
}
