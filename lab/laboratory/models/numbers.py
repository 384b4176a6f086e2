"""How numbers of jobs and certificates are written."""

from __future__ import annotations

from django.db import models


class Series(models.TextChoices):
    """The series of numbers that the laboratory gives."""

    JOB = "job", "Jobs"
    CERTIFICATE = "certificate", "Certificates"


class NumberFormat(models.Model):
    """The pattern of one series, such as ``SD-C{year}-{number:04d}``."""

    series = models.CharField(max_length=20, choices=Series.choices, unique=True)
    pattern = models.CharField(max_length=60)

    class Meta:
        ordering = ["series"]

    def __str__(self) -> str:
        return self.pattern
