"""Forms for devices and their calibrations."""

from lab.equipment.forms.calibrations import CalibrationForm, labels_before
from lab.equipment.forms.devices import DeviceForm, NewDeviceForm, StatusForm

__all__ = [
    "CalibrationForm",
    "DeviceForm",
    "NewDeviceForm",
    "StatusForm",
    "labels_before",
]
