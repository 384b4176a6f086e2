"""Devices, their status, their calibrations and what belongs to these."""

from lab.equipment.models.acceptance import CalibrationAcceptance, Requirement
from lab.equipment.models.calibrations import (
    CalibratedValue,
    Calibration,
    CertificateFile,
    Moment,
    SensorCorrection,
)
from lab.equipment.models.devices import (
    ARTEFACTS,
    CALIBRATED,
    Device,
    DeviceKind,
    DeviceStatus,
)
from lab.equipment.models.dispatches import (
    Dispatch,
    DispatchReturn,
    Provider,
    StandIn,
)
from lab.equipment.models.intervals import IntervalRule

__all__ = [
    "ARTEFACTS",
    "CALIBRATED",
    "CalibratedValue",
    "Calibration",
    "CalibrationAcceptance",
    "CertificateFile",
    "Device",
    "DeviceKind",
    "DeviceStatus",
    "Dispatch",
    "DispatchReturn",
    "IntervalRule",
    "Moment",
    "Provider",
    "Requirement",
    "SensorCorrection",
    "StandIn",
]
