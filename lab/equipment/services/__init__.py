"""Every write about devices, their status and their calibrations."""

from lab.equipment.services.calibrations import record_calibration
from lab.equipment.services.devices import add_device, change_device, set_status

__all__ = ["add_device", "change_device", "record_calibration", "set_status"]
