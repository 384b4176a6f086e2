"""Devices, their status, their calibrations and what belongs to these."""

from lab.equipment.models.acceptance import CalibrationAcceptance, Requirement
from lab.equipment.models.attachments import Attachment
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
from lab.equipment.models.events import ALWAYS_BREAKING, DeviceEvent, MaintenanceTask
from lab.equipment.models.intervals import IntervalRule
from lab.equipment.models.reminders import CalendarFeed, DigestChoice, DueDigest

__all__ = [
    "ALWAYS_BREAKING",
    "ARTEFACTS",
    "CALIBRATED",
    "Attachment",
    "CalendarFeed",
    "CalibratedValue",
    "Calibration",
    "CalibrationAcceptance",
    "CertificateFile",
    "Device",
    "DeviceEvent",
    "DeviceKind",
    "DeviceStatus",
    "DigestChoice",
    "Dispatch",
    "DispatchReturn",
    "DueDigest",
    "IntervalRule",
    "MaintenanceTask",
    "Moment",
    "Provider",
    "Requirement",
    "SensorCorrection",
    "StandIn",
]
