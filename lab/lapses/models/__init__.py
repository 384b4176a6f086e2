"""Judgements and findings, what was found out later, and what is still to decide."""

from lab.lapses.models.judgements import Bookmark, Finding, Judgement
from lab.lapses.models.later import LaterFinding
from lab.lapses.models.tasks import SuspicionTask, TaskDecision

__all__ = [
    "Bookmark",
    "Finding",
    "Judgement",
    "LaterFinding",
    "SuspicionTask",
    "TaskDecision",
]
