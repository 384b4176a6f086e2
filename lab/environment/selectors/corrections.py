"""What the calibration of a sensor adds to its readings when they are used."""

from __future__ import annotations

from datetime import datetime

from lab.environment.models import AirQuantity
from lab.equipment.models import Device
from lab.equipment.references import sensor_calibration
from lab.equipment.selectors import current_calibration
from lab.metrology.environment import SensorCalibration


def corrections(
    sensor: Device, quantity: str, at: datetime
) -> SensorCalibration | None:
    """Return the corrections of the calibration that is current at an instant.

    Readings stay as the sensor gave them; whoever states a temperature puts them
    through ``corrected_readings`` with this. None where no current calibration states
    corrections of that quantity: they are used as given then, and that must be said.
    Corrections are recorded for temperatures, so that humidity is used as given.
    """
    if quantity != AirQuantity.TEMPERATURE:
        return None
    calibration = current_calibration(sensor, at)
    return None if calibration is None else sensor_calibration(calibration)
