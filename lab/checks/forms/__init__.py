"""The forms of the pages of checks."""

from lab.checks.forms.checks import BreakForm, CheckForm, ConfirmForm, VoidForm
from lab.checks.forms.procedures import ProcedureForm, RevisionForm, SystemForm

__all__ = [
    "BreakForm",
    "CheckForm",
    "ConfirmForm",
    "ProcedureForm",
    "RevisionForm",
    "SystemForm",
    "VoidForm",
]
