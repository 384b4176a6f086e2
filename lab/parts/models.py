"""Parts, frozen revisions of them, and what the drawing asks."""

from __future__ import annotations

from decimal import Decimal

from django.conf import settings
from django.db import models
from django.db.models import Q

from lab.common import clock
from lab.common.files.models import StoredFile
from lab.common.frozen import FrozenModel
from lab.common.quantities import QuantityField
from lab.customers.models import Customer
from lab.laboratory.models import CharacteristicKind
from lab.metrology.conformity import Tolerance
from lab.metrology.units import EXPANSION, MASS, Quantity, kind_of

#: Kinds that are never below zero: an upper limit only (computations: conformity).
NON_NEGATIVE = frozenset(
    {
        CharacteristicKind.FORM,
        CharacteristicKind.ORIENTATION,
        CharacteristicKind.POSITION,
        CharacteristicKind.PROFILE,
    }
)


class Part(models.Model):
    """A customer's part by its drawing number; what it asks is in its revisions."""

    customer = models.ForeignKey(
        Customer, on_delete=models.PROTECT, related_name="parts"
    )
    number = models.CharField(max_length=60, help_text="Drawing or part number.")
    name = models.CharField(max_length=120)
    created_at = models.DateTimeField(default=clock.now, editable=False)

    class Meta:
        ordering = ["customer", "number"]
        constraints = [
            models.UniqueConstraint(
                fields=["customer", "number"], name="part_number_once_a_customer"
            )
        ]

    def __str__(self) -> str:
        return f"{self.number} {self.name}"


class PartRevision(FrozenModel):
    """What one issue of the drawing says, frozen; a correction supersedes it."""

    part = models.ForeignKey(Part, on_delete=models.PROTECT, related_name="revisions")
    revision = models.CharField(max_length=20, help_text="As on the drawing.")
    supersedes = models.OneToOneField(
        "self",
        on_delete=models.PROTECT,
        null=True,
        related_name="superseded_by",
        help_text="The recording of the same drawing revision that this one corrects.",
    )
    material = models.CharField(max_length=80)
    expansion = QuantityField(EXPANSION)
    expansion_u = QuantityField(EXPANSION)
    mass = QuantityField(MASS, required=False)
    surface_finish = models.CharField(max_length=80, blank=True)
    drawing = models.ForeignKey(
        StoredFile, on_delete=models.PROTECT, null=True, related_name="+"
    )
    model = models.ForeignKey(
        StoredFile, on_delete=models.PROTECT, null=True, related_name="+"
    )
    changes = models.TextField(blank=True, help_text="What changed, and why.")
    recorded_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
    )
    recorded_at = models.DateTimeField(default=clock.now, editable=False)

    class Meta(FrozenModel.Meta):
        ordering = ["part", "-pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["part", "revision"],
                condition=Q(supersedes=None),
                name="part_revision_one_original",
            )
        ]

    def __str__(self) -> str:
        return f"{self.part.number} revision {self.revision}"


class Characteristic(FrozenModel):
    """One requirement of a drawing: number, kind, nominal value and tolerance.

    ``unit`` is the drawing's, mm, in or °. Deviations are from the nominal value; a
    kind that can't be below zero has an upper limit only and no nominal value but 0.
    """

    revision = models.ForeignKey(
        PartRevision, on_delete=models.PROTECT, related_name="characteristics"
    )
    position = models.PositiveSmallIntegerField(help_text="Order on the page.")
    number = models.CharField(max_length=20, help_text="As on the drawing.")
    kind = models.CharField(max_length=20, choices=CharacteristicKind.choices)
    description = models.CharField(max_length=120)
    unit = models.CharField(max_length=12)
    nominal_text = models.CharField(max_length=40)
    lower_text = models.CharField(max_length=40, blank=True)
    upper_text = models.CharField(max_length=40, blank=True)
    evaluation = models.CharField(
        max_length=200,
        blank=True,
        help_text="Association, filter, datum system, as the drawing says.",
    )

    class Meta(FrozenModel.Meta):
        ordering = ["revision", "position"]
        constraints = [
            models.UniqueConstraint(
                fields=["revision", "number"], name="characteristic_number_once"
            ),
            models.CheckConstraint(
                condition=~Q(lower_text="") | ~Q(upper_text=""),
                name="characteristic_has_a_limit",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.number} {self.description}"

    @property
    def nominal(self) -> Quantity:
        return Quantity(self.nominal_text, self.unit)

    @property
    def lower_deviation(self) -> Quantity | None:
        return Quantity(self.lower_text, self.unit) if self.lower_text else None

    @property
    def upper_deviation(self) -> Quantity | None:
        return Quantity(self.upper_text, self.unit) if self.upper_text else None

    @property
    def non_negative(self) -> bool:
        return self.kind in NON_NEGATIVE

    @property
    def is_angle(self) -> bool:
        return kind_of(self.unit).suffix == "deg"

    @property
    def tolerance(self) -> Tolerance:
        """Return the limits in the base unit (mm or °), added exactly."""
        return Tolerance(
            lower=self._limit(self.lower_deviation),
            upper=self._limit(self.upper_deviation),
            non_negative=self.non_negative,
        )

    def _limit(self, deviation: Quantity | None) -> Decimal | None:
        return None if deviation is None else self.nominal.value + deviation.value
