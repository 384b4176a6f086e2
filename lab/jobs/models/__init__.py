"""Jobs and what belongs to them: agreements, items, sessions, holds."""

from lab.jobs.models.agreements import Agreement
from lab.jobs.models.holds import Hold, HoldClearance
from lab.jobs.models.items import ItemBody, ItemReceipt, ItemReturn, JobItem
from lab.jobs.models.jobs import TRANSITIONS, Job, JobState
from lab.jobs.models.scale import ScaleTest, ScaleTestBar
from lab.jobs.models.sessions import (
    MeasuringSession,
    PartTemperature,
    SessionEvent,
)

__all__ = [
    "TRANSITIONS",
    "Agreement",
    "Hold",
    "HoldClearance",
    "ItemBody",
    "ItemReceipt",
    "ItemReturn",
    "Job",
    "JobItem",
    "JobState",
    "MeasuringSession",
    "PartTemperature",
    "ScaleTest",
    "ScaleTestBar",
    "SessionEvent",
]
