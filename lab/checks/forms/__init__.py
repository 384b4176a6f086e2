"""The forms of the pages of checks."""

from lab.checks.forms.checks import (
    AcknowledgeForm,
    BreakForm,
    CheckForm,
    ConfirmForm,
    VoidForm,
)
from lab.checks.forms.procedures import (
    ProcedureChangeForm,
    ProcedureForm,
    RevisionForm,
    SystemChangeForm,
    SystemForm,
)

__all__ = [
    "AcknowledgeForm",
    "BreakForm",
    "CheckForm",
    "ConfirmForm",
    "ProcedureChangeForm",
    "ProcedureForm",
    "RevisionForm",
    "SystemChangeForm",
    "SystemForm",
    "VoidForm",
]
