"""Warnings: a rule of the control chart that fired, until somebody dealt with it."""

from __future__ import annotations

from django.conf import settings
from django.db import models

from lab.checks.models.checks import ArtefactCheck
from lab.checks.models.procedures import WatchedRule
from lab.common import clock
from lab.common.frozen import FrozenModel


class ChartWarning(FrozenModel):
    """A rule of a system's control chart that fired with one check."""

    artefact_check = models.ForeignKey(
        ArtefactCheck, on_delete=models.PROTECT, related_name="warnings"
    )
    rule = models.CharField(max_length=24, choices=WatchedRule.choices)
    words = models.TextField(help_text="What the chart showed, in a sentence.")
    recorded_at = models.DateTimeField(default=clock.now, editable=False)

    class Meta(FrozenModel.Meta):
        ordering = ["-artefact_check__ended_at", "-pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["artefact_check", "rule"], name="chart_warning_once_a_rule"
            )
        ]

    def __str__(self) -> str:
        return f"{self.get_rule_display()}: {self.artefact_check}"

    @property
    def is_open(self) -> bool:
        return not hasattr(self, "acknowledgement")


class Acknowledgement(FrozenModel):
    """What a person found and did about a warning."""

    warning = models.OneToOneField(
        ChartWarning, on_delete=models.PROTECT, related_name="acknowledgement"
    )
    note = models.TextField()
    acknowledged_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
    )
    recorded_at = models.DateTimeField(default=clock.now, editable=False)

    class Meta(FrozenModel.Meta):
        pass

    def __str__(self) -> str:
        return f"{self.warning}, acknowledged"
