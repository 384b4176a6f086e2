"""Measuring systems, the procedures that check them, and the checks themselves."""

from __future__ import annotations

from datetime import timedelta

from django.conf import settings
from django.db import models
from django.db.models import F, Q

from lab.common import clock
from lab.common.frozen import FrozenModel
from lab.common.quantities import QuantityField
from lab.equipment.models import Calibration, Device
from lab.laboratory.models import CheckKind
from lab.metrology.bracketing import LATE_AFTER
from lab.metrology.units import LENGTH, TEMPERATURE, TEMPERATURE_DIFFERENCE


class MeasuringSystem(models.Model):
    """A tracker and a scanner that measure together. Its row is the lock of its checks.

    Whoever records a check, a break or a finding of it, or issues a certificate that
    leans on it, locks this row first (DEVELOPERS.md, "Locks").
    """

    name = models.CharField(max_length=80, unique=True)
    tracker = models.ForeignKey(Device, on_delete=models.PROTECT, related_name="+")
    scanner = models.ForeignKey(Device, on_delete=models.PROTECT, related_name="+")
    in_use = models.BooleanField(default=True)

    class Meta:
        ordering = ["name"]

    def __str__(self) -> str:
        return self.name


class CheckProcedure(models.Model):
    """How one kind of check is done; what it says is in its revisions."""

    code = models.SlugField(max_length=40, unique=True)
    title = models.CharField(max_length=120)
    kind = models.CharField(max_length=20, choices=CheckKind.choices)
    systems = models.ManyToManyField(
        MeasuringSystem, related_name="procedures", help_text="Which systems need it."
    )

    class Meta:
        ordering = ["code"]

    def __str__(self) -> str:
        return f"{self.code} {self.title}"


class ProcedureRevision(FrozenModel):
    """What a check procedure says, frozen.

    The limit is ``constant + L / per`` with an optional cap (``per`` empty: constant
    alone). Guarded acceptance narrows it by the test uncertainty.
    """

    class Acceptance(models.TextChoices):
        SIMPLE = "simple", "Simple"
        GUARDED = "guarded", "Guarded"

    procedure = models.ForeignKey(
        CheckProcedure, on_delete=models.PROTECT, related_name="revisions"
    )
    number = models.PositiveSmallIntegerField()
    artefact = models.ForeignKey(Device, on_delete=models.PROTECT, related_name="+")
    calibrated_label = models.CharField(
        max_length=80, help_text="Which calibrated value of the artefact is measured."
    )
    positions = models.TextField(help_text="One position a line, as prescribed.")
    limit_constant = QuantityField(LENGTH)
    limit_per_metre = QuantityField(LENGTH, required=False)
    limit_cap = QuantityField(LENGTH, required=False)
    acceptance = models.CharField(
        max_length=10, choices=Acceptance.choices, default=Acceptance.SIMPLE
    )
    temperature_u = QuantityField(TEMPERATURE_DIFFERENCE)
    valid_for = models.DurationField(default=timedelta(hours=12))
    closing_wanted = models.BooleanField(default=True)
    closing_within = models.DurationField(default=timedelta(hours=24))
    recorded_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
    )
    recorded_at = models.DateTimeField(default=clock.now, editable=False)

    class Meta(FrozenModel.Meta):
        ordering = ["procedure", "-number"]
        constraints = [
            models.UniqueConstraint(
                fields=["procedure", "number"], name="check_procedure_revision_once"
            ),
            models.CheckConstraint(
                condition=Q(valid_for__gt=timedelta(0))
                & Q(closing_within__gte=timedelta(0)),
                name="check_procedure_times_positive",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.procedure.code} revision {self.number}"

    @property
    def limit_words(self) -> str:
        """Say the limit as a person would: constant, growth with length, cap."""
        words = f"{self.limit_constant}"
        if self.limit_per_metre is not None:
            words += f" + {self.limit_per_metre} per metre"
        return f"{words}, at most {self.limit_cap}" if self.limit_cap else words

    @property
    def valid_words(self) -> str:
        return _hours(self.valid_for)

    @property
    def closing_words(self) -> str:
        return _hours(self.closing_within)

    @property
    def position_names(self) -> list[str]:
        return [line.strip() for line in self.positions.splitlines() if line.strip()]


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
                fields=["artefact_check", "position"],
                name="check_reading_once_a_position",
            )
        ]

    def __str__(self) -> str:
        return f"{self.position}: {self.measured}"


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


class Break(FrozenModel):
    """Anything after which a system may measure differently."""

    class Kind(models.TextChoices):
        ADJUSTMENT = "adjustment", "Adjustment"
        REPAIR = "repair", "Repair"
        FIRMWARE = "firmware", "Firmware"
        FIELD_CALIBRATION = "field calibration", "Field calibration"
        KNOCK = "knock", "Knock or fall"
        TRANSPORT = "transport", "Transport"
        MOVE = "move", "Move to another place"

    system = models.ForeignKey(
        MeasuringSystem, on_delete=models.PROTECT, related_name="breaks"
    )
    kind = models.CharField(max_length=20, choices=Kind.choices)
    at = models.DateTimeField()
    note = models.TextField()
    recorded_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
    )
    recorded_at = models.DateTimeField(default=clock.now, editable=False)

    class Meta(FrozenModel.Meta):
        ordering = ["-at", "-pk"]
        indexes = [models.Index(fields=["system", "at"], name="break_by_system")]

    def __str__(self) -> str:
        return f"{self.get_kind_display()} of {self.system}"


def _hours(span: timedelta) -> str:
    return f"{span / timedelta(hours=1):g} h"
