"""Every write about the air of the rooms."""

from lab.environment.services.excursions import (
    acknowledge_excursion,
    look_through,
)
from lab.environment.services.imports import (
    begin_import,
    cancel_import,
    confirm_import,
)
from lab.environment.services.readings import store_readings
from lab.environment.services.sensors import place_sensor
from lab.environment.services.spot import (
    correct_spot_reading,
    record_spot_reading,
)
from lab.environment.services.tokens import issue_token, revoke_token

__all__ = [
    "acknowledge_excursion",
    "begin_import",
    "cancel_import",
    "confirm_import",
    "correct_spot_reading",
    "issue_token",
    "look_through",
    "place_sensor",
    "record_spot_reading",
    "revoke_token",
    "store_readings",
]
