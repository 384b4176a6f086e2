"""Every write about jobs, a module per noun."""

from lab.jobs.services.agreements import record_agreement
from lab.jobs.services.bodies import BodyEntry, record_item_body
from lab.jobs.services.holds import clear_hold, clear_holds, raise_hold
from lab.jobs.services.items import receive_item, record_part_temperature, return_item
from lab.jobs.services.jobs import book_job, cancel_job, move_job
from lab.jobs.services.scale import BarReading, record_scale_test
from lab.jobs.services.sessions import (
    correct_event,
    end_session,
    pause_session,
    resume_session,
    start_session,
)

__all__ = [
    "BarReading",
    "BodyEntry",
    "book_job",
    "cancel_job",
    "clear_hold",
    "clear_holds",
    "correct_event",
    "end_session",
    "move_job",
    "pause_session",
    "raise_hold",
    "receive_item",
    "record_agreement",
    "record_item_body",
    "record_part_temperature",
    "record_scale_test",
    "resume_session",
    "return_item",
    "start_session",
]
