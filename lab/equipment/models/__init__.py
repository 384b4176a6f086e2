"""Devices, their status and their calibrations."""

from lab.equipment.models.calibrations import CalibratedValue, Calibration
from lab.equipment.models.devices import (
    ARTEFACTS,
    CALIBRATED,
    Device,
    DeviceKind,
    DeviceStatus,
)

__all__ = [
    "ARTEFACTS",
    "CALIBRATED",
    "CalibratedValue",
    "Calibration",
    "Device",
    "DeviceKind",
    "DeviceStatus",
]
