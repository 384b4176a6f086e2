"""Every write about measuring systems, check procedures and checks."""

from lab.checks.services.afterwards import (
    confirm_late_check,
    record_break,
    void_check,
)
from lab.checks.services.checks import keep_source, record_check
from lab.checks.services.procedures import (
    add_procedure,
    change_procedure,
    revise_procedure,
)
from lab.checks.services.systems import add_system, change_system
from lab.checks.services.warnings import acknowledge_warning

__all__ = [
    "acknowledge_warning",
    "add_procedure",
    "add_system",
    "change_procedure",
    "change_system",
    "confirm_late_check",
    "keep_source",
    "record_break",
    "record_check",
    "revise_procedure",
    "void_check",
]
