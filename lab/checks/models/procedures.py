"""Check procedures, what they say, and which system needs them from when on."""

from __future__ import annotations

from datetime import datetime, timedelta

from django.conf import settings
from django.db import models
from django.db.models import F, Q

from lab.checks.models.systems import MeasuringSystem
from lab.common import clock
from lab.common.frozen import FrozenModel
from lab.common.quantities import QuantityField
from lab.equipment.models import Device
from lab.laboratory.models import CheckKind
from lab.metrology.units import LENGTH, TEMPERATURE_DIFFERENCE

#: More repeats of one position are a study of the system, not a check.
MOST_REPEATS = 20


class CheckProcedure(models.Model):
    """How one kind of check is done; what it says is in its revisions."""

    code = models.SlugField(max_length=40, unique=True)
    title = models.CharField(max_length=120)
    kind = models.CharField(max_length=20, choices=CheckKind.choices)
    systems = models.ManyToManyField(
        MeasuringSystem,
        through="Need",
        related_name="procedures",
        help_text="Which systems need it, or needed it once.",
    )

    class Meta:
        ordering = ["code"]

    def __str__(self) -> str:
        return f"{self.code} {self.title}"


class NeedQuerySet(models.QuerySet["Need"]):
    """Which system needs which procedure, narrowed to an instant."""

    def at(self, instant: datetime) -> NeedQuerySet:
        lasts = Q(until=None) | Q(until__gt=instant)
        return self.filter(lasts, since__lte=instant)

    def not_ended(self, instant: datetime) -> NeedQuerySet:
        """Return those that count at an instant or will later."""
        return self.filter(Q(until=None) | Q(until__gt=instant))


class Need(models.Model):
    """A system needs a procedure: from an instant on, and where it ended, until then.

    What was measured before or after is not judged by the procedure.
    """

    system = models.ForeignKey(
        MeasuringSystem, on_delete=models.PROTECT, related_name="needs"
    )
    procedure = models.ForeignKey(
        CheckProcedure, on_delete=models.PROTECT, related_name="needs"
    )
    since = models.DateTimeField(default=clock.now)
    until = models.DateTimeField(null=True)

    objects = NeedQuerySet.as_manager()

    class Meta:
        ordering = ["procedure", "system", "since"]
        constraints = [
            models.UniqueConstraint(
                fields=["system", "procedure"],
                condition=Q(until=None),
                name="need_without_end_once",
            ),
            models.CheckConstraint(
                condition=Q(until=None) | Q(until__gte=F("since")),
                name="need_times_in_order",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.system} needs {self.procedure.code}"


class WatchedRule(models.TextChoices):
    """A rule of the control chart that gives a warning when it fires.

    The run rules are those of :mod:`lab.metrology.charts.rules`, in its words; the
    sets of Western Electric and of Nelson are not mixed.
    """

    WESTERN_ELECTRIC_1 = (
        "western electric 1",
        "Western Electric rule 1: one value beyond 3 sigma",
    )
    WESTERN_ELECTRIC_2 = (
        "western electric 2",
        "Western Electric rule 2: two of three values beyond 2 sigma, one side",
    )
    WESTERN_ELECTRIC_3 = (
        "western electric 3",
        "Western Electric rule 3: four of five values beyond 1 sigma, one side",
    )
    WESTERN_ELECTRIC_4 = (
        "western electric 4",
        "Western Electric rule 4: eight values in a row on one side",
    )
    NELSON_1 = "nelson 1", "Nelson rule 1: one value beyond 3 sigma"
    NELSON_2 = "nelson 2", "Nelson rule 2: nine values in a row on one side"
    NELSON_3 = "nelson 3", "Nelson rule 3: six values in a row rising or falling"
    NELSON_4 = "nelson 4", "Nelson rule 4: fourteen values in a row alternating"
    NELSON_5 = (
        "nelson 5",
        "Nelson rule 5: two of three values beyond 2 sigma, one side",
    )
    NELSON_6 = (
        "nelson 6",
        "Nelson rule 6: four of five values beyond 1 sigma, one side",
    )
    NELSON_7 = "nelson 7", "Nelson rule 7: fifteen values in a row within 1 sigma"
    NELSON_8 = (
        "nelson 8",
        "Nelson rule 8: eight values in a row beyond 1 sigma, both sides",
    )
    EWMA = "ewma", "Moving average (EWMA) beyond its limits: a slow drift"
    RANGE = "moving range", "Moving range beyond its limit: a jump between two checks"


class ProcedureRevision(FrozenModel):
    """What a check procedure says, frozen.

    The limit is ``constant + L / per`` with an optional cap (``per`` empty: constant
    alone). Guarded acceptance narrows it by the test uncertainty. ``claimed_u`` is the
    standard uncertainty that budgets claim for the system and that the limit defends;
    it is empty where no budget leans on the check.
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
    repeats = models.PositiveSmallIntegerField(
        default=1, help_text="How often each position is measured."
    )
    limit_constant = QuantityField(LENGTH)
    limit_per_metre = QuantityField(LENGTH, required=False)
    limit_cap = QuantityField(LENGTH, required=False)
    acceptance = models.CharField(
        max_length=10, choices=Acceptance.choices, default=Acceptance.SIMPLE
    )
    claimed_u = QuantityField(LENGTH, required=False)
    temperature_u = QuantityField(TEMPERATURE_DIFFERENCE)
    valid_for = models.DurationField(default=timedelta(hours=12))
    closing_wanted = models.BooleanField(default=True)
    closing_within = models.DurationField(default=timedelta(hours=24))
    watched = models.TextField(
        blank=True, help_text="The rules of the chart that warn, one a line."
    )
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
            models.CheckConstraint(
                condition=Q(repeats__gte=1), name="check_procedure_repeats_positive"
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

    @property
    def reading_names(self) -> list[str]:
        """Return the name of every reading: its position, and which repeat of it."""
        return list(self.reading_places)

    @property
    def reading_places(self) -> dict[str, tuple[str, int]]:
        """Return position and repeat of each reading by its name, in their order."""
        times = range(1, self.repeats + 1) if self.repeats > 1 else (0,)
        return {
            reading_name(position, repeat): (position, repeat)
            for position in self.position_names
            for repeat in times
        }

    @property
    def watched_rules(self) -> list[WatchedRule]:
        return [WatchedRule(line) for line in self.watched.splitlines() if line]


def reading_name(position: str, repeat: int) -> str:
    """Return what one reading of a position is called; repeat 0 is the only one.

    >>> reading_name("Upright", 0), reading_name("Upright", 2)
    ('Upright', 'Upright (2)')
    """
    return f"{position} ({repeat})" if repeat else position


def _hours(span: timedelta) -> str:
    return f"{span / timedelta(hours=1):g} h"
