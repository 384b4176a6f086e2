"""Judgements and findings, what was found out later, and what is still to decide."""

from lab.lapses.models.assessments import (
    AssessedCharacteristic,
    ConditionsAssessment,
)
from lab.lapses.models.judgements import Bookmark, Finding, Judgement
from lab.lapses.models.later import LaterFinding
from lab.lapses.models.tasks import SuspicionTask, TaskDecision

__all__ = [
    "AssessedCharacteristic",
    "Bookmark",
    "ConditionsAssessment",
    "Finding",
    "Judgement",
    "LaterFinding",
    "SuspicionTask",
    "TaskDecision",
]
