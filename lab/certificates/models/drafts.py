"""A certificate in the making: drafted, reviewed by somebody else, then issued."""

from __future__ import annotations

from typing import Final

from django.conf import settings
from django.db import models

from lab.common import clock
from lab.common.frozen import FrozenModel
from lab.jobs.models import Job, JobItem
from lab.laboratory.models import Laboratory


class Draft(models.Model):
    """What a certificate will say beyond what the records say by themselves."""

    class State(models.TextChoices):
        DRAFT = "draft", "Draft"
        IN_REVIEW = "in review", "In review"
        REVIEWED = "reviewed", "Reviewed"
        ISSUED = "issued", "Issued"
        ABANDONED = "abandoned", "Abandoned"

    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="drafts")
    items = models.ManyToManyField(JobItem, related_name="drafts")
    state = models.CharField(max_length=12, choices=State.choices, default=State.DRAFT)
    title = models.CharField(max_length=30, choices=Laboratory.Title.choices)
    deviations = models.TextField(
        help_text="Additions to, departures from or omissions of the method; or “None.”"
    )
    opinion = models.TextField(blank=True, help_text="Marked as such where printed.")
    adjustment = models.TextField(
        blank=True,
        help_text="What was adjusted or repaired between measurements; then the values "
        "before it are printed too.",
    )
    amends = models.ForeignKey(
        "certificates.Certificate",
        on_delete=models.PROTECT,
        null=True,
        related_name="amending_drafts",
    )
    replaces = models.ForeignKey(
        "certificates.Certificate",
        on_delete=models.PROTECT,
        null=True,
        related_name="replacing_drafts",
    )
    change = models.TextField(
        blank=True, help_text="What an amendment or replacement changes, and why."
    )
    prepared_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
    )
    created_at = models.DateTimeField(default=clock.now, editable=False)
    reviewed_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, related_name="+"
    )
    reviewed_at = models.DateTimeField(null=True)
    reviewed_content_sha256 = models.CharField(
        max_length=64,
        blank=True,
        help_text="Hash of the content that the reviewer saw: no other is issued.",
    )

    class Meta:
        ordering = ["-pk"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(amends=None) | models.Q(replaces=None),
                name="draft_amends_or_replaces",
            )
        ]

    def __str__(self) -> str:
        return f"Draft {self.pk} for {self.job}"


DRAFT_TRANSITIONS: Final[dict[str, frozenset[str]]] = {
    Draft.State.DRAFT: frozenset({Draft.State.IN_REVIEW, Draft.State.ABANDONED}),
    Draft.State.IN_REVIEW: frozenset(
        {Draft.State.DRAFT, Draft.State.REVIEWED, Draft.State.ABANDONED}
    ),
    Draft.State.REVIEWED: frozenset({Draft.State.DRAFT, Draft.State.ISSUED}),
    Draft.State.ISSUED: frozenset(),
    Draft.State.ABANDONED: frozenset(),
}


class DraftRemark(FrozenModel):
    """What somebody said about a draft, or did with it."""

    draft = models.ForeignKey(Draft, on_delete=models.PROTECT, related_name="remarks")
    text = models.TextField()
    said_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
    )
    recorded_at = models.DateTimeField(default=clock.now, editable=False)

    class Meta(FrozenModel.Meta):
        ordering = ["draft", "pk"]

    def __str__(self) -> str:
        return f"{self.draft}: {self.text[:40]}"
