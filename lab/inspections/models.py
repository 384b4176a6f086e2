"""Measured values with their uncertainty, and what they mean under an agreement."""

from __future__ import annotations

from decimal import Decimal

from django.conf import settings
from django.db import models
from django.db.models import Q

from lab.common import clock
from lab.common.frozen import FrozenModel
from lab.jobs.models import Agreement, Job, JobItem, MeasuringSession
from lab.metrology.units import Quantity
from lab.parts.models import Characteristic


class Result(FrozenModel):
    """One value of one characteristic on one item; a changed value supersedes."""

    class TemperatureState(models.TextChoices):
        AT_REFERENCE = "at 20 °C", "Brought to 20 °C by the evaluation software"
        AS_MEASURED = "as measured", "As measured, at the part's temperature"
        CORRECTED_HERE = "corrected here", "As measured, and brought to 20 °C here"

    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="results")
    item = models.ForeignKey(JobItem, on_delete=models.PROTECT, related_name="results")
    characteristic = models.ForeignKey(
        Characteristic, on_delete=models.PROTECT, related_name="results"
    )
    session = models.ForeignKey(
        MeasuringSession,
        on_delete=models.PROTECT,
        null=True,
        related_name="results",
        help_text="Empty only for a result of an outside provider.",
    )
    unit = models.CharField(max_length=12)
    value_text = models.CharField(max_length=40)
    expanded_u_text = models.CharField(max_length=40)
    coverage_factor_text = models.CharField(max_length=10)
    uncertainty_basis = models.CharField(
        max_length=300, help_text="What the uncertainty rests on."
    )
    temperature_state = models.CharField(
        max_length=20, choices=TemperatureState.choices
    )
    part_temperature_text = models.CharField(max_length=40, blank=True)
    number_of_points = models.PositiveIntegerField(null=True)
    filter_text = models.CharField(max_length=120, blank=True)
    association = models.CharField(max_length=120, blank=True)
    software = models.CharField(max_length=120)
    provider = models.CharField(
        max_length=120, blank=True, help_text="The outside provider, if one measured."
    )
    supersedes = models.OneToOneField(
        "self", on_delete=models.PROTECT, null=True, related_name="superseded_by"
    )
    reason = models.TextField(blank=True, help_text="Why an earlier value changed.")
    evaluated_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
    )
    entered_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
    )
    recorded_at = models.DateTimeField(default=clock.now, editable=False)

    class Meta(FrozenModel.Meta):
        ordering = ["job", "item", "characteristic__position", "pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["item", "characteristic"],
                condition=Q(supersedes=None),
                name="result_one_original",
            ),
            models.CheckConstraint(
                condition=~Q(session=None) | ~Q(provider=""),
                name="result_of_session_or_provider",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.item} {self.characteristic.number}: {self.value_text}"

    @property
    def value(self) -> Quantity:
        return Quantity(self.value_text, self.unit)

    @property
    def expanded_u(self) -> Quantity:
        return Quantity(self.expanded_u_text, self.unit)

    @property
    def coverage_factor(self) -> Decimal:
        return Decimal(self.coverage_factor_text)


class Decision(FrozenModel):
    """What a result means under one agreement: verdict, limits, risk, printed words."""

    result = models.ForeignKey(
        Result, on_delete=models.PROTECT, related_name="decisions"
    )
    agreement = models.ForeignKey(
        Agreement, on_delete=models.PROTECT, related_name="decisions"
    )
    verdict = models.CharField(
        max_length=60, blank=True, help_text="Empty where no statement was agreed."
    )
    printed_value = models.CharField(max_length=40)
    printed_u = models.CharField(max_length=40)
    printed_unit = models.CharField(max_length=12)
    details_text = models.TextField(help_text="Canonical JSON: limits, risk, sentence.")
    recorded_at = models.DateTimeField(default=clock.now, editable=False)

    class Meta(FrozenModel.Meta):
        constraints = [
            models.UniqueConstraint(
                fields=["result", "agreement"], name="decision_once_an_agreement"
            )
        ]

    def __str__(self) -> str:
        return f"{self.result}: {self.verdict or 'no statement'}"
