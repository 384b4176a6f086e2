"""Photos and documents of a device."""

from __future__ import annotations

from django.conf import settings
from django.db import models

from lab.common import clock
from lab.common.files.models import StoredFile
from lab.equipment.models.devices import Device


class Attachment(models.Model):
    """A stored file that belongs to a device's record; taken off, it stays stored."""

    class Kind(models.TextChoices):
        PHOTO = "photo", "Photo"
        DOCUMENT = "document", "Document"

    device = models.ForeignKey(
        Device, on_delete=models.PROTECT, related_name="attachments"
    )
    kind = models.CharField(max_length=10, choices=Kind.choices)
    file = models.ForeignKey(StoredFile, on_delete=models.PROTECT, related_name="+")
    title = models.CharField(max_length=120)
    added_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
    )
    added_at = models.DateTimeField(default=clock.now, editable=False)
    removed_at = models.DateTimeField(null=True)

    class Meta:
        ordering = ["device", "pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["device", "file"],
                condition=models.Q(removed_at=None),
                name="device_file_once",
            )
        ]

    def __str__(self) -> str:
        return self.title
