"""The laboratory itself: one per installation."""

from __future__ import annotations

from zoneinfo import ZoneInfo

from django.db import models
from django.db.models import Q


class Laboratory(models.Model):
    """Who issues the certificates: what stands at the head of each of them."""

    class Paper(models.TextChoices):
        A4 = "a4", "A4"
        LETTER = "letter", "Letter"

    class Title(models.TextChoices):
        CALIBRATION_CERTIFICATE = "calibration_certificate", "Calibration certificate"
        TEST_REPORT = "test_report", "Test report"
        MEASUREMENT_REPORT = "measurement_report", "Measurement report"

    ADDRESS_LINES = 6

    # Always 1, and unique: the database itself allows no second laboratory.
    only = models.PositiveSmallIntegerField(default=1, unique=True, editable=False)
    name = models.CharField(max_length=120)
    address = models.TextField(help_text="One line each, as printed.")
    email = models.EmailField(max_length=200)
    country = models.CharField(
        max_length=2, blank=True, help_text="Two letters of ISO 3166-1."
    )
    phone = models.CharField(max_length=40)
    accreditation = models.TextField(
        blank=True, help_text="What may be printed of an accreditation; empty for none."
    )
    paper = models.CharField(max_length=10, choices=Paper.choices, default=Paper.A4)
    document_title = models.CharField(
        max_length=30, choices=Title.choices, default=Title.MEASUREMENT_REPORT
    )
    time_zone = models.CharField(
        max_length=64, help_text="Days of validity begin and end by this zone."
    )

    class Meta:
        constraints = [
            models.CheckConstraint(condition=Q(only=1), name="laboratory_only_one")
        ]

    def __str__(self) -> str:
        return self.name

    @property
    def address_lines(self) -> list[str]:
        return self.address.splitlines()

    @property
    def zone(self) -> ZoneInfo:
        return ZoneInfo(self.time_zone)
