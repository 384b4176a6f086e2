"""Every write about lapses: judging, what was found out later, decisions."""

from lab.lapses.services.assessments import assess_conditions
from lab.lapses.services.judging import (
    judge_device,
    judge_finding,
    judge_person,
    judge_reading,
    judge_session,
    judge_session_by_id,
    judge_sessions_now,
    judge_system,
)
from lab.lapses.services.later import (
    record_from_calibrations,
    record_later_finding,
)
from lab.lapses.services.tasks import decide_task, raise_tasks

__all__ = [
    "assess_conditions",
    "decide_task",
    "judge_device",
    "judge_finding",
    "judge_person",
    "judge_reading",
    "judge_session",
    "judge_session_by_id",
    "judge_sessions_now",
    "judge_system",
    "raise_tasks",
    "record_from_calibrations",
    "record_later_finding",
]
