"""Keys by which loggers send their readings."""

from __future__ import annotations

from django.conf import settings
from django.db import models

from lab.common import clock
from lab.equipment.models import Device


class LoggerToken(models.Model):
    """A secret that one logger shows; only its hash is kept.

    ``minute`` and ``used`` count the batches of the present minute.
    """

    sensor = models.ForeignKey(Device, on_delete=models.PROTECT, related_name="tokens")
    name = models.CharField(max_length=80)
    digest = models.CharField(max_length=64, unique=True, help_text="SHA-256.")
    created_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, related_name="+"
    )
    created_at = models.DateTimeField(default=clock.now, editable=False)
    revoked_at = models.DateTimeField(null=True)
    last_used_at = models.DateTimeField(null=True)
    minute = models.BigIntegerField(default=0)
    used = models.PositiveIntegerField(default=0)

    class Meta:
        ordering = ["sensor", "-created_at"]
        constraints = [
            models.UniqueConstraint(
                fields=["sensor", "name"],
                condition=models.Q(revoked_at=None),
                name="logger_token_name_once",
            )
        ]

    def __str__(self) -> str:
        return f"{self.sensor.tag}: {self.name}"
