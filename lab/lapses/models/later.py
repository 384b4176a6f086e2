"""What was found out later about a device or a system, for a time that is past."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import F, Q

from lab.checks.models import MeasuringSystem
from lab.common import clock
from lab.common.frozen import FrozenModel
from lab.equipment.models import Calibration, Device


class LaterFinding(FrozenModel):
    """A device or a system that, as was found out later, did not measure right.

    Everything measured with it from ``since`` to ``until`` becomes suspect. One is
    written by itself for each calibration that finds the device out of tolerance; a
    person writes the others.
    """

    class Kind(models.TextChoices):
        OUT_OF_TOLERANCE = "out of tolerance", "Found out of tolerance"
        MOVED = "moved", "Moved by more than was allowed for"
        DAMAGED = "damaged", "Found damaged"
        WIDENED = "widened", "A window of suspicion moved back"
        OTHER = "other", "Other, as the reason says"

    device = models.ForeignKey(
        Device, on_delete=models.PROTECT, null=True, related_name="later_findings"
    )
    system = models.ForeignKey(
        MeasuringSystem,
        on_delete=models.PROTECT,
        null=True,
        related_name="later_findings",
    )
    kind = models.CharField(max_length=20, choices=Kind.choices)
    since = models.DateTimeField()
    until = models.DateTimeField()
    reason = models.TextField()
    calibration = models.OneToOneField(
        Calibration,
        on_delete=models.PROTECT,
        null=True,
        related_name="later_finding",
        help_text="The calibration that found it out.",
    )
    recorded_by = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        on_delete=models.PROTECT,
        null=True,
        related_name="+",
        help_text="Empty where a calibration raised it.",
    )
    recorded_at = models.DateTimeField(default=clock.now, editable=False)

    class Meta(FrozenModel.Meta):
        ordering = ["-until", "-pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(device=None, system__isnull=False)
                | Q(system=None, device__isnull=False),
                name="later_finding_about_one_thing",
            ),
            models.CheckConstraint(
                condition=Q(until__gte=F("since")), name="later_finding_times_in_order"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.about}: {self.get_kind_display().lower()}"

    @property
    def about(self) -> Device | MeasuringSystem:
        found = self.device or self.system
        if found is None:
            raise LookupError("A later finding is about a device or a system.")
        return found
