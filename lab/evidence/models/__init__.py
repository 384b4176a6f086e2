"""Cases of nonconforming work, and all that is said and done about them."""

from lab.evidence.models.actions import Action, ActionDone, EffectCheck
from lab.evidence.models.cases import (
    Assessment,
    Case,
    CaseDecision,
    CaseWindow,
    Closure,
    NamedJob,
    Resumption,
)
from lab.evidence.models.letters import Letter, LetterDocument, Telling

__all__ = [
    "Action",
    "ActionDone",
    "Assessment",
    "Case",
    "CaseDecision",
    "CaseWindow",
    "Closure",
    "EffectCheck",
    "Letter",
    "LetterDocument",
    "NamedJob",
    "Resumption",
    "Telling",
]
