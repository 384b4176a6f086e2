"""Measuring systems, the procedures that check them, and the checks themselves."""

from lab.checks.models.checks import (
    ArtefactCheck,
    CheckReading,
    CheckVoid,
    LateConfirmation,
)
from lab.checks.models.procedures import (
    CheckProcedure,
    Need,
    ProcedureRevision,
    WatchedRule,
)
from lab.checks.models.systems import Break, MeasuringSystem
from lab.checks.models.warnings import Acknowledgement, ChartWarning

__all__ = [
    "Acknowledgement",
    "ArtefactCheck",
    "Break",
    "ChartWarning",
    "CheckProcedure",
    "CheckReading",
    "CheckVoid",
    "LateConfirmation",
    "MeasuringSystem",
    "Need",
    "ProcedureRevision",
    "WatchedRule",
]
