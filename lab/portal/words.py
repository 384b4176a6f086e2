"""A job's state as a client is told it."""

from __future__ import annotations

from typing import Final

from lab.jobs.models import Job, JobState

PLAIN_WORDS: Final = {
    JobState.BOOKED: "Booked: we await your items",
    JobState.RECEIVED: "Received: your items are here",
    JobState.MEASURING: "Being measured",
    JobState.EVALUATED: "Measured: the results are being evaluated",
    JobState.IN_REVIEW: "The certificate is being reviewed",
    JobState.RETURNED: "Done: your items were returned",
    JobState.CANCELLED: "Cancelled",
}


def status_in_plain_words(job: Job) -> str:
    return PLAIN_WORDS[JobState(job.state)]
