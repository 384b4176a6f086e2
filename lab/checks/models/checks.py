"""Artefact checks as measured, their readings, and what was said of them later."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import F, Q

from lab.checks.models.procedures import ProcedureRevision, reading_name
from lab.checks.models.systems import MeasuringSystem
from lab.common import clock
from lab.common.files.models import StoredFile
from lab.common.frozen import FrozenModel
from lab.common.quantities import QuantityField
from lab.equipment.models import Calibration, Device
from lab.metrology.bracketing import LATE_AFTER
from lab.metrology.units import LENGTH, TEMPERATURE


class ArtefactCheck(FrozenModel):
    """One check of a system as measured: readings, reference, verdict. Frozen."""

    class Verdict(models.TextChoices):
        PASS = "pass", "Passed"
        FAIL = "fail", "Failed"

    system = models.ForeignKey(
        MeasuringSystem, on_delete=models.PROTECT, related_name="checks"
    )
    procedure = models.ForeignKey(
        ProcedureRevision, on_delete=models.PROTECT, related_name="checks"
    )
    calibration = models.ForeignKey(
        Calibration,
        on_delete=models.PROTECT,
        related_name="+",
        help_text="The artefact's calibration that gave the reference value.",
    )
    started_at = models.DateTimeField()
    ended_at = models.DateTimeField()
    artefact_temperature = QuantityField(TEMPERATURE)
    thermometer = models.ForeignKey(Device, on_delete=models.PROTECT, related_name="+")
    thermometer_calibration = models.ForeignKey(
        Calibration,
        on_delete=models.PROTECT,
        null=True,
        related_name="+",
        help_text="The thermometer's calibration that was current.",
    )
    source = models.ForeignKey(
        StoredFile,
        on_delete=models.PROTECT,
        null=True,
        related_name="+",
        help_text="The file that the readings were read from.",
    )
    source_note = models.TextField(blank=True, help_text="What was read from it.")
    verdict = models.CharField(max_length=10, choices=Verdict.choices)
    worst_share = models.FloatField(help_text="Largest |error| / limit.")
    reason = models.TextField(help_text="The verdict in a sentence.")
    measured_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
    )
    form_key = models.CharField(
        max_length=36,
        unique=True,
        help_text="One form, one check: a second is dropped.",
    )
    recorded_at = models.DateTimeField(default=clock.now, editable=False)

    class Meta(FrozenModel.Meta):
        ordering = ["-ended_at", "-pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(ended_at__gte=F("started_at")),
                name="artefact_check_times_in_order",
            )
        ]
        indexes = [
            models.Index(fields=["system", "ended_at"], name="check_by_system"),
            models.Index(fields=["system", "started_at"], name="check_by_start"),
        ]

    def __str__(self) -> str:
        return f"{self.procedure.procedure.code} of {self.system}"

    @property
    def passed(self) -> bool:
        return self.verdict == self.Verdict.PASS

    @property
    def is_late(self) -> bool:
        """Tell whether it was recorded too long after it was measured."""
        return self.recorded_at - self.ended_at > LATE_AFTER

    @property
    def is_void(self) -> bool:
        return hasattr(self, "void")

    @property
    def awaits_confirmation(self) -> bool:
        """Tell whether it is a pass that meets no gate without a second person."""
        waits = self.passed and self.is_late and not self.is_void
        return waits and not hasattr(self, "late_confirmation")

    @property
    def word(self) -> str:
        if self.is_void:
            return "Void"
        return (
            "Passed, late" if self.awaits_confirmation else self.get_verdict_display()
        )

    @property
    def shape(self) -> str:
        """Return the class of the state sign that goes with the word."""
        if self.is_void:
            return "state-off"
        if self.awaits_confirmation:
            return "state-wait"
        return "state-good" if self.passed else "state-bad"

    @property
    def worst_percent(self) -> str:
        return f"{self.worst_share * 100:.0f} %"


class CheckReading(FrozenModel):
    """One position of a check: what was read, what it should be, what is allowed."""

    artefact_check = models.ForeignKey(
        ArtefactCheck, on_delete=models.PROTECT, related_name="readings"
    )
    position = models.CharField(max_length=80)
    repeat = models.PositiveSmallIntegerField(
        default=0, help_text="Which time, from 1; 0 where it is measured once."
    )
    measured = QuantityField(LENGTH)
    reference_mm = models.FloatField()
    error_mm = models.FloatField()
    limit_mm = models.FloatField()
    acceptance_limit_mm = models.FloatField()
    u_test_mm = models.FloatField()
    passed = models.BooleanField()

    class Meta(FrozenModel.Meta):
        ordering = ["artefact_check", "pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["artefact_check", "position", "repeat"],
                name="check_reading_once_a_repeat",
            )
        ]

    def __str__(self) -> str:
        return f"{self.name}: {self.measured}"

    @property
    def name(self) -> str:
        """Return its position and, where this is measured again, which time it is."""
        return reading_name(self.position, self.repeat)


class CheckVoid(FrozenModel):
    """A check declared void with a reason; it stays visible and counts for nothing."""

    class Cause(models.TextChoices):
        RECORDING_ERROR = "recording error", "Recording error"
        WRONG_ARTEFACT = "wrong artefact", "Wrong artefact or position"
        OTHER = "other", "Other, as the reason says"

    artefact_check = models.OneToOneField(
        ArtefactCheck, on_delete=models.PROTECT, related_name="void"
    )
    cause = models.CharField(max_length=20, choices=Cause.choices)
    reason = models.TextField()
    voided_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
    )
    recorded_at = models.DateTimeField(default=clock.now, editable=False)

    class Meta(FrozenModel.Meta):
        pass

    def __str__(self) -> str:
        return f"{self.artefact_check}, void"


class LateConfirmation(FrozenModel):
    """A second person's word for a check that was recorded late."""

    artefact_check = models.OneToOneField(
        ArtefactCheck, on_delete=models.PROTECT, related_name="late_confirmation"
    )
    reason = models.TextField()
    confirmed_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
    )
    recorded_at = models.DateTimeField(default=clock.now, editable=False)

    class Meta(FrozenModel.Meta):
        pass

    def __str__(self) -> str:
        return f"{self.artefact_check}, confirmed"
