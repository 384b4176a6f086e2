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
from lab.equipment.forms.upkeep import (
    DocumentForm,
    EventForm,
    LabelsForm,
    MaintenanceForm,
    PhotoForm,
)

__all__ = [
    "ACCEPT",
    "CalibrationForm",
    "CertificateFileForm",
    "CorrectedCalibrationForm",
    "DecisionForm",
    "DeviceForm",
    "DispatchForm",
    "DocumentForm",
    "EventForm",
    "IntervalRuleForm",
    "LabelsForm",
    "MaintenanceForm",
    "NewDeviceForm",
    "PhotoForm",
    "ProviderForm",
    "ReadCalibrationForm",
    "RequirementForm",
    "ReturnForm",
    "SensorRequirementForm",
    "StandInForm",
    "StatusForm",
]
