"""A job: what a customer ordered, and how far it has come."""

from __future__ import annotations

from typing import Final

from django.conf import settings
from django.db import models

from lab.common import clock
from lab.customers.models import Contact, Customer
from lab.laboratory.models import Room
from lab.parts.models import PartRevision


class JobState(models.TextChoices):
    """Where a job stands. That a certificate was issued is read from certificates."""

    BOOKED = "booked", "Booked"
    RECEIVED = "received", "Received"
    MEASURING = "measuring", "Measuring"
    EVALUATED = "evaluated", "Evaluated"
    IN_REVIEW = "in review", "In review"
    RETURNED = "returned", "Returned"
    CANCELLED = "cancelled", "Cancelled"


#: From each state to what may follow it.
TRANSITIONS: Final[dict[JobState, frozenset[JobState]]] = {
    JobState.BOOKED: frozenset({JobState.RECEIVED, JobState.CANCELLED}),
    JobState.RECEIVED: frozenset(
        {JobState.MEASURING, JobState.RETURNED, JobState.CANCELLED}
    ),
    JobState.MEASURING: frozenset({JobState.EVALUATED, JobState.RETURNED}),
    JobState.EVALUATED: frozenset(
        {JobState.MEASURING, JobState.IN_REVIEW, JobState.RETURNED}
    ),
    JobState.IN_REVIEW: frozenset({JobState.EVALUATED, JobState.RETURNED}),
    JobState.RETURNED: frozenset(),
    JobState.CANCELLED: frozenset(),
}


class Job(models.Model):
    """One order for measurement: a part revision, one or more items, one agreement."""

    class Unit(models.TextChoices):
        MILLIMETRE = "mm", "mm"
        INCH = "in", "in"

    number = models.CharField(max_length=40, unique=True)
    customer = models.ForeignKey(
        Customer, on_delete=models.PROTECT, related_name="jobs"
    )
    contact = models.ForeignKey(Contact, on_delete=models.PROTECT, related_name="jobs")
    order_number = models.CharField(max_length=60, help_text="The customer's.")
    part_revision = models.ForeignKey(
        PartRevision, on_delete=models.PROTECT, related_name="jobs"
    )
    room = models.ForeignKey(Room, on_delete=models.PROTECT, related_name="jobs")
    unit = models.CharField(max_length=2, choices=Unit.choices, default=Unit.MILLIMETRE)
    wanted_on = models.DateField(null=True)
    state = models.CharField(
        max_length=12, choices=JobState.choices, default=JobState.BOOKED
    )
    booked_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
    )
    created_at = models.DateTimeField(default=clock.now, editable=False)

    class Meta:
        ordering = ["-pk"]
        indexes = [models.Index(fields=["state", "wanted_on"], name="job_by_state")]

    def __str__(self) -> str:
        return self.number

    @property
    def is_over(self) -> bool:
        return not TRANSITIONS[JobState(self.state)]
