"""What the calibration of a sensor adds to its readings when they are used."""

from __future__ import annotations

from datetime import datetime

from lab.equipment.models import Device
from lab.metrology.environment import SensorCalibration


def corrections(
    sensor: Device, quantity: str, at: datetime
) -> SensorCalibration | None:
    """Return the corrections of the calibration that is current at an instant.

    Readings stay as the sensor gave them; whoever states a temperature puts them
    through ``corrected_readings`` with this. None where no current calibration states
    corrections of that quantity: they are used as given then, and that must be said.
    Calibrated values are lengths so far, so that it is None of every sensor.
    """
    return None
