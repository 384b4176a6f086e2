"""Every write about devices, their status and their calibrations."""

from lab.equipment.services.acceptance import (
    accept_calibration,
    reject_calibration,
    set_requirement,
)
from lab.equipment.services.calibrations import record_calibration
from lab.equipment.services.certificates import keep_certificate
from lab.equipment.services.devices import add_device, change_device, set_status
from lab.equipment.services.dispatches import (
    bring_back,
    drop_stand_in,
    keep_provider,
    name_stand_in,
    send_out,
)
from lab.equipment.services.intervals import set_interval_rule

__all__ = [
    "accept_calibration",
    "add_device",
    "bring_back",
    "change_device",
    "drop_stand_in",
    "keep_certificate",
    "keep_provider",
    "name_stand_in",
    "record_calibration",
    "reject_calibration",
    "send_out",
    "set_interval_rule",
    "set_requirement",
    "set_status",
]
