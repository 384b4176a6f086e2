"""Forms of the jobs app, a module per noun."""

from lab.jobs.forms.booking import AgreementForm, BookingForm, CustomerChoice
from lab.jobs.forms.custody import (
    BodyForm,
    PartTemperatureForm,
    ReceiptForm,
    ReturnForm,
    body_starts_with,
)
from lab.jobs.forms.holds import ClearForm, HoldForm, ReasonForm
from lab.jobs.forms.sessions import (
    CorrectionForm,
    MomentForm,
    PauseForm,
    StartForm,
)

__all__ = [
    "AgreementForm",
    "BodyForm",
    "BookingForm",
    "ClearForm",
    "CorrectionForm",
    "CustomerChoice",
    "HoldForm",
    "MomentForm",
    "PartTemperatureForm",
    "PauseForm",
    "ReasonForm",
    "ReceiptForm",
    "ReturnForm",
    "StartForm",
    "body_starts_with",
]
