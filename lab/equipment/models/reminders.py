"""Who is reminded of due dates: by a calendar's feed, and by a weekly mail."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import Q

from lab.common import clock


class CalendarFeed(models.Model):
    """A person's secret address of due dates; of the secret only the digest is kept."""

    person = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        on_delete=models.PROTECT,
        related_name="calendar_feeds",
    )
    digest = models.CharField(max_length=64, unique=True)
    made_at = models.DateTimeField(default=clock.now, editable=False)
    revoked_at = models.DateTimeField(null=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["person"],
                condition=Q(revoked_at=None),
                name="one_open_feed_a_person",
            )
        ]

    def __str__(self) -> str:
        return f"feed {self.pk} of {self.person_id}"


class DigestChoice(models.Model):
    """Whether a person wants the weekly mail; without a row their role decides."""

    person = models.OneToOneField(
        settings.AUTH_USER_MODEL,
        on_delete=models.PROTECT,
        related_name="due_digest_choice",
    )
    is_wanted = models.BooleanField()

    def __str__(self) -> str:
        return f"{self.person_id}: {'wanted' if self.is_wanted else 'not wanted'}"


class DueDigest(models.Model):
    """One week's mail to one person: wanted, then claimed, then sent; each once."""

    person = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="due_digests"
    )
    week = models.DateField(help_text="Its Monday.")
    wanted_at = models.DateTimeField(default=clock.now, editable=False)
    claimed_at = models.DateTimeField(null=True)
    sent_at = models.DateTimeField(null=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["person", "week"], name="one_digest_a_week")
        ]

    def __str__(self) -> str:
        return f"digest of {self.week} for {self.person_id}"
