"""Forms for devices and their calibrations."""

from lab.equipment.forms.around import (
    ACCEPT,
    DecisionForm,
    DispatchForm,
    IntervalRuleForm,
    ProviderForm,
    RequirementForm,
    ReturnForm,
    SensorRequirementForm,
    StandInForm,
)
from lab.equipment.forms.calibrations import (
    CalibrationForm,
    CertificateFileForm,
    CorrectedCalibrationForm,
    ReadCalibrationForm,
)
from lab.equipment.forms.devices import DeviceForm, NewDeviceForm, StatusForm

__all__ = [
    "ACCEPT",
    "CalibrationForm",
    "CertificateFileForm",
    "CorrectedCalibrationForm",
    "DecisionForm",
    "DeviceForm",
    "DispatchForm",
    "IntervalRuleForm",
    "NewDeviceForm",
    "ProviderForm",
    "ReadCalibrationForm",
    "RequirementForm",
    "ReturnForm",
    "SensorRequirementForm",
    "StandInForm",
    "StatusForm",
]
