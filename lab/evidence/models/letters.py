"""Telling customers: letters as drafted, and who was told what when."""

from __future__ import annotations

from django.conf import settings
from django.db import models

from lab.common import clock
from lab.common.files.models import StoredFile
from lab.common.frozen import FrozenModel
from lab.customers.models import Customer
from lab.evidence.models.cases import Case


class Letter(FrozenModel):
    """A letter to one customer, whole, as one snapshot; a new one replaces none."""

    case = models.ForeignKey(Case, on_delete=models.PROTECT, related_name="letters")
    customer = models.ForeignKey(
        Customer, on_delete=models.PROTECT, related_name="letters"
    )
    snapshot_text = models.TextField(help_text="Canonical JSON with its schema number.")
    snapshot_sha256 = models.CharField(max_length=64)
    drafted_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
    )
    recorded_at = models.DateTimeField(default=clock.now, editable=False)

    class Meta(FrozenModel.Meta):
        ordering = ["case", "pk"]

    def __str__(self) -> str:
        return f"{self.case}, letter to {self.customer}"


class LetterDocument(FrozenModel):
    """The PDF of a letter, drawn once and served for ever."""

    letter = models.OneToOneField(
        Letter, on_delete=models.PROTECT, related_name="document"
    )
    file = models.ForeignKey(StoredFile, on_delete=models.PROTECT, related_name="+")
    rendered_at = models.DateTimeField(default=clock.now, editable=False)

    class Meta(FrozenModel.Meta):
        pass

    def __str__(self) -> str:
        return f"{self.letter}, document"


class Telling(FrozenModel):
    """That a customer was told, or why there was no need to."""

    class Way(models.TextChoices):
        LETTER = "letter", "By the letter"
        SPOKEN = "spoken", "By telephone or in person"
        NOT_NEEDED = "not needed", "Not told, as there is no need"

    case = models.ForeignKey(Case, on_delete=models.PROTECT, related_name="tellings")
    customer = models.ForeignKey(
        Customer, on_delete=models.PROTECT, related_name="tellings"
    )
    letter = models.ForeignKey(
        Letter, on_delete=models.PROTECT, null=True, related_name="tellings"
    )
    way = models.CharField(max_length=12, choices=Way.choices)
    told = models.CharField(max_length=200, blank=True, help_text="Who was told.")
    note = models.TextField(help_text="How it went, what was said, or why not.")
    at = models.DateTimeField()
    told_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
    )
    recorded_at = models.DateTimeField(default=clock.now, editable=False)

    class Meta(FrozenModel.Meta):
        ordering = ["case", "pk"]

    def __str__(self) -> str:
        return f"{self.case}: {self.customer} {self.way}"
