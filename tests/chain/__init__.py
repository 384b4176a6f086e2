"""The thin chain for tests: a small lab, and steps of a job through the services.

Each step is a function with sensible values, any of which can be changed by name.
Days are in March 2026, times in UTC; ``at(9)`` is nine o'clock on the working day.
"""

from tests.chain.around import (
    check,
    judge,
    read_room,
    void,
)
from tests.chain.founding import (
    A_TO_B,
    ADDRESS,
    BAR_EXPANSION,
    BAR_VALUE,
    DAY,
    FOUNDED,
    LIMITS,
    Lab,
    at,
    calibrate,
    correct_drawing,
    found_lab,
)
from tests.chain.jobs import (
    agree,
    book,
    entries,
    entry,
    evaluated_job,
    measured_job,
    ready_job,
    receive,
    record,
    start,
)
from tests.chain.papers import (
    abandon,
    certifiable_job,
    certificate,
    draft,
    issue,
    reviewed_draft,
)

__all__ = [
    "ADDRESS",
    "A_TO_B",
    "BAR_EXPANSION",
    "BAR_VALUE",
    "DAY",
    "FOUNDED",
    "LIMITS",
    "Lab",
    "abandon",
    "agree",
    "at",
    "book",
    "calibrate",
    "certifiable_job",
    "certificate",
    "check",
    "correct_drawing",
    "draft",
    "entries",
    "entry",
    "evaluated_job",
    "found_lab",
    "issue",
    "judge",
    "measured_job",
    "read_room",
    "ready_job",
    "receive",
    "record",
    "reviewed_draft",
    "start",
    "void",
]
