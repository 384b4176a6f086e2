"""Intermediate checks with a calibrated artefact.

`limits`: what is permitted, and whether it defends the budgets. `references`:
the artefact's value at its temperature and the uncertainty of the test.
`judging`: error against limit, position by position. `from_points`: lengths,
spacings, size and form out of point clouds.
"""

from __future__ import annotations

from lab.metrology.checks.judging import (
    Acceptance,
    CheckResult,
    NothingCouldPass,
    PositionResult,
    Quantity,
    Rule,
    Verdict,
    acceptance_limit,
    judge_check,
    judge_position,
)
from lab.metrology.checks.limits import Defence, Limit, defence
from lab.metrology.checks.references import (
    Artefact,
    ProcessingState,
    ReferenceValue,
    SystemTermInTest,
    TermOrigin,
    TestTerm,
    UnknownProcessingState,
    form_reference,
    length_reference,
)
from lab.metrology.thermal import Expansion, Temperature

__all__ = [
    "Acceptance",
    "Artefact",
    "CheckResult",
    "Defence",
    "Expansion",
    "Limit",
    "NothingCouldPass",
    "PositionResult",
    "ProcessingState",
    "Quantity",
    "ReferenceValue",
    "Rule",
    "SystemTermInTest",
    "Temperature",
    "TermOrigin",
    "TestTerm",
    "UnknownProcessingState",
    "Verdict",
    "acceptance_limit",
    "defence",
    "form_reference",
    "judge_check",
    "judge_position",
    "length_reference",
]
