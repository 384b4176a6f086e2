"""Intermediate checks with a calibrated artefact.

`limits`: what is permitted, and whether it defends the budgets. `references`:
the artefact's value at its temperature and the uncertainty of the test.
`judging`: error against limit, position by position. `from_points`: lengths,
spacings, size and form out of point clouds. `files`: readings and points out of
text files.
"""

from __future__ import annotations

from lab.metrology.checks.files import FileReadings, readings_from_file
from lab.metrology.checks.from_points import (
    FaceLength,
    FlatForm,
    Probing,
    SphereSpacing,
    flat_form_from_points,
    length_from_faces,
    probing_from_points,
    spacing_from_points,
)
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
    ArtefactGaveScale,
    ReferenceValue,
    SystemTermInTest,
    TermOrigin,
    TestTerm,
    form_reference,
    length_reference,
    require_other_artefact,
)
from lab.metrology.thermal import (
    DifferentProcessingStates,
    Expansion,
    ProcessingState,
    Temperature,
    UnknownProcessingState,
    require_same_state,
)

__all__ = [
    "Acceptance",
    "Artefact",
    "ArtefactGaveScale",
    "CheckResult",
    "Defence",
    "DifferentProcessingStates",
    "Expansion",
    "FaceLength",
    "FileReadings",
    "FlatForm",
    "Limit",
    "NothingCouldPass",
    "PositionResult",
    "Probing",
    "ProcessingState",
    "Quantity",
    "ReferenceValue",
    "Rule",
    "SphereSpacing",
    "SystemTermInTest",
    "Temperature",
    "TermOrigin",
    "TestTerm",
    "UnknownProcessingState",
    "Verdict",
    "acceptance_limit",
    "defence",
    "flat_form_from_points",
    "form_reference",
    "judge_check",
    "judge_position",
    "length_from_faces",
    "length_reference",
    "probing_from_points",
    "readings_from_file",
    "require_other_artefact",
    "require_same_state",
    "spacing_from_points",
]
