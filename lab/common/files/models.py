"""Where a stored file is, and what it was found to be."""

from __future__ import annotations

from django.db import models

from lab.common import clock
from lab.common.frozen import FrozenModel


class StoredFile(FrozenModel):
    """One content, kept once under its hash and never overwritten."""

    sha256 = models.CharField(max_length=64, unique=True)
    size = models.PositiveBigIntegerField()
    content_type = models.CharField(
        max_length=80, help_text="As sniffed from the bytes, from our own list."
    )
    original_name = models.CharField(max_length=200)
    recorded_at = models.DateTimeField(default=clock.now, editable=False)

    class Meta(FrozenModel.Meta):
        app_label = "common"

    def __str__(self) -> str:
        return self.original_name

    @property
    def path(self) -> str:
        """Return the file's name in the storage: two folders of its hash deep."""
        return f"{self.sha256[:2]}/{self.sha256[2:4]}/{self.sha256}"


class StoredPhoto(FrozenModel):
    """A stored file that our own encoder wrote; only such is shown inside a page."""

    file = models.OneToOneField(
        StoredFile, on_delete=models.PROTECT, related_name="photo"
    )
    width = models.PositiveIntegerField()
    height = models.PositiveIntegerField()

    class Meta(FrozenModel.Meta):
        app_label = "common"

    def __str__(self) -> str:
        return f"{self.file} ({self.width} × {self.height})"
