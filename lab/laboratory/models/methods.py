"""Methods: the lab's own measuring procedures, in frozen revisions."""

from __future__ import annotations

from decimal import Decimal

from django.conf import settings
from django.core.validators import MinValueValidator
from django.db import models
from django.db.models import F, Q

from lab.common import clock
from lab.common.frozen import FrozenModel
from lab.common.quantities import QuantityField
from lab.laboratory.models.climate import ClimateLimits
from lab.metrology.units import ANGLE, LENGTH

#: Common practice, no source: with five in view one can be lost and one be wrong.
MINIMUM_TARGETS = 5
#: Three targets fix a pose without any redundancy; fewer fix none.
FEWEST_TARGETS = 3


class CharacteristicKind(models.TextChoices):
    """Kinds of drawing characteristic that a method may be valid for."""

    LENGTH = "length", "Length or distance"
    DIAMETER = "diameter", "Diameter"
    ANGLE = "angle", "Angle"
    FORM = "form", "Form"
    ORIENTATION = "orientation", "Orientation"
    POSITION = "position", "Position"
    PROFILE = "profile", "Profile"


class CheckKind(models.TextChoices):
    """What an artefact check can look at; its procedures belong to a higher app."""

    LENGTH = "length", "Length"
    SPHERE_SPACING = "sphere spacing", "Sphere spacing"
    PROBING_SIZE = "probing size", "Probing size"
    PROBING_FORM = "probing form", "Probing form"
    FLAT_FORM = "flat form", "Flat form"


class Method(models.Model):
    """A measuring procedure by its code; what it says is in its revisions."""

    code = models.SlugField(max_length=40, unique=True)
    title = models.CharField(max_length=120)

    class Meta:
        ordering = ["code"]

    def __str__(self) -> str:
        return f"{self.code} {self.title}"


class MethodRevision(ClimateLimits, FrozenModel):
    """What a method says, frozen. Days are those of the laboratory's time zone.

    Which revision is current is read from the rows (``selectors.revision_at``): a
    later one takes over on its first day, and a withdrawal is a row of its own.
    """

    method = models.ForeignKey(
        Method, on_delete=models.PROTECT, related_name="revisions"
    )
    revision = models.CharField(max_length=20)
    valid_from = models.DateField()
    valid_until = models.DateField(
        null=True, blank=True, help_text="The last day; empty where no end is set."
    )
    reference_document = models.CharField(max_length=200)
    changes = models.TextField(help_text="What changed, and why.")
    minimum_targets = models.PositiveSmallIntegerField(
        default=MINIMUM_TARGETS, validators=[MinValueValidator(FEWEST_TARGETS)]
    )
    recorded_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
    )
    recorded_at = models.DateTimeField(default=clock.now, editable=False)

    class Meta(FrozenModel.Meta):
        ordering = ["method", "-valid_from"]
        constraints = [
            models.UniqueConstraint(
                fields=["method", "revision"], name="method_revision_once"
            ),
            models.CheckConstraint(
                condition=Q(valid_until=None) | Q(valid_until__gte=F("valid_from")),
                name="method_revision_days_in_order",
            ),
            models.CheckConstraint(
                condition=Q(minimum_targets__gte=FEWEST_TARGETS),
                name="method_revision_enough_targets",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.method.code} revision {self.revision}"


class MethodCapability(FrozenModel):
    """One kind of characteristic in a revision's scope, with the CMC claimed for it.

    The CMC (the smallest expanded uncertainty claimed, about 95 %: ILAC-P14:09/2020)
    is ``a + b·L`` for what is measured in millimetres, with b per metre of L, and one
    angle for angles. ``smallest`` and ``largest`` bound the size of the feature.
    """

    revision = models.ForeignKey(
        MethodRevision, on_delete=models.PROTECT, related_name="capabilities"
    )
    kind = models.CharField(max_length=20, choices=CharacteristicKind.choices)
    smallest = QuantityField(LENGTH)
    largest = QuantityField(LENGTH)
    cmc_constant = QuantityField(LENGTH, required=False)
    cmc_per_metre = QuantityField(LENGTH, required=False)
    cmc_angle = QuantityField(ANGLE, required=False)

    class Meta(FrozenModel.Meta):
        constraints = [
            models.UniqueConstraint(
                fields=["revision", "kind"], name="method_capability_once_a_kind"
            ),
            models.CheckConstraint(
                condition=Q(
                    kind="angle", cmc_angle_deg__gt=0, cmc_constant_mm__isnull=True
                )
                | (~Q(kind="angle") & Q(cmc_angle_deg=None, cmc_constant_mm__gt=0)),
                name="method_capability_has_its_cmc",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.revision}: {self.get_kind_display()}"

    def covers(self, size_mm: Decimal) -> bool:
        """Tell whether a feature of this size is in scope, both ends included."""
        return self.smallest.value <= size_mm <= self.largest.value

    def cmc_mm(self, size_mm: Decimal) -> Decimal | None:
        """Return the CMC at a size in millimetres; None where it is an angle."""
        if self.cmc_constant is None:
            return None
        slope = self.cmc_per_metre.value if self.cmc_per_metre else Decimal(0)
        return self.cmc_constant.value + slope * size_mm / 1000

    @property
    def cmc_deg(self) -> Decimal | None:
        """Return the CMC in degrees; None where it is a length."""
        return self.cmc_angle.value if self.cmc_angle else None

    @property
    def cmc_in_words(self) -> str:
        if self.cmc_angle is not None:
            return str(self.cmc_angle)
        slope = self.cmc_per_metre
        if slope is None or slope.value == 0:
            return str(self.cmc_constant)
        return f"{self.cmc_constant} + {slope}/m · L"


class MethodCheck(FrozenModel):
    """A kind of artefact check that a revision wants."""

    revision = models.ForeignKey(
        MethodRevision, on_delete=models.PROTECT, related_name="checks_wanted"
    )
    kind = models.CharField(max_length=40, choices=CheckKind.choices)

    class Meta(FrozenModel.Meta):
        constraints = [
            models.UniqueConstraint(
                fields=["revision", "kind"], name="method_check_once_a_kind"
            )
        ]

    def __str__(self) -> str:
        return f"{self.revision}: {self.get_kind_display()}"


class MethodWithdrawal(FrozenModel):
    """A revision taken out of use: from its instant on, it is valid no longer."""

    revision = models.OneToOneField(
        MethodRevision, on_delete=models.PROTECT, related_name="withdrawal"
    )
    at = models.DateTimeField(default=clock.now)
    reason = models.TextField()
    withdrawn_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
    )
    recorded_at = models.DateTimeField(default=clock.now, editable=False)

    class Meta(FrozenModel.Meta):
        pass

    def __str__(self) -> str:
        return f"{self.revision}, withdrawn"
