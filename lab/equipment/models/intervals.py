"""How the lab sets the interval between calibrations, per family of devices."""

from __future__ import annotations

from django.conf import settings
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import F, Q

from lab.common import clock
from lab.common.frozen import FrozenModel
from lab.equipment.models.devices import DeviceKind
from lab.metrology import intervals


class IntervalRule(FrozenModel):
    """The rule for one kind of device from a moment on; the newest row speaks."""

    class Method(models.TextChoices):
        FIXED = "fixed", "Fixed interval"
        STAIRCASE = "staircase", "Staircase, by the last results"
        DRIFT = "drift", "By the drift of the calibrated value"

    family = models.CharField(max_length=30, choices=DeviceKind.choices)
    method = models.CharField(max_length=10, choices=Method.choices)
    months = models.PositiveSmallIntegerField(
        validators=[MinValueValidator(1), MaxValueValidator(120)]
    )
    shortest_months = models.PositiveSmallIntegerField(default=3)
    longest_months = models.PositiveSmallIntegerField(default=36)
    extend_up_to_percent = models.PositiveSmallIntegerField(default=50)
    reduce_above_percent = models.PositiveSmallIntegerField(default=100)
    in_a_row = models.PositiveSmallIntegerField(default=2)
    reason = models.TextField()
    recorded_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
    )
    recorded_at = models.DateTimeField(default=clock.now, editable=False)

    class Meta(FrozenModel.Meta):
        ordering = ["family", "-pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(shortest_months__gte=1)
                & Q(months__gte=F("shortest_months"))
                & Q(longest_months__gte=F("months")),
                name="interval_months_in_order",
            )
        ]

    def __str__(self) -> str:
        return f"{self.get_family_display()}: {self.get_method_display().lower()}"

    def policy(self) -> intervals.IntervalPolicy:
        """Return the rule as it is computed with.

        Raises
        ------
        OutOfDomain
            If it would extend on bad results, or its bounds are out of order.
        """
        return intervals.IntervalPolicy(
            extend_up_to=self.extend_up_to_percent / 100,
            reduce_above=self.reduce_above_percent / 100,
            in_a_row=self.in_a_row,
            shortest_months=self.shortest_months,
            longest_months=self.longest_months,
        )
