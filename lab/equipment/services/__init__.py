"""Every write about devices, their status and their calibrations."""

from lab.equipment.services.acceptance import (
    accept_calibration,
    reject_calibration,
    set_requirement,
)
from lab.equipment.services.attachments import attach_file, remove_attachment
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
from lab.equipment.services.events import (
    end_maintenance,
    log_event,
    plan_maintenance,
)
from lab.equipment.services.intervals import set_interval_rule
from lab.equipment.services.reminders import (
    choose_digest,
    make_feed,
    revoke_feed,
    want_digests,
)

__all__ = [
    "accept_calibration",
    "add_device",
    "attach_file",
    "bring_back",
    "change_device",
    "choose_digest",
    "drop_stand_in",
    "end_maintenance",
    "keep_certificate",
    "keep_provider",
    "log_event",
    "make_feed",
    "name_stand_in",
    "plan_maintenance",
    "record_calibration",
    "reject_calibration",
    "remove_attachment",
    "revoke_feed",
    "send_out",
    "set_interval_rule",
    "set_requirement",
    "set_status",
    "want_digests",
]
