"""A case of nonconforming work: its cause, its reach, and what was decided.

ISO/IEC 17025:2017, 7.10: who decides, what stops, how serious it is, what it means
for earlier results, who is told, and who lets work go on.
"""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import F, Q

from lab.certificates.models import Certificate
from lab.checks.models import ArtefactCheck, MeasuringSystem
from lab.common import clock
from lab.common.frozen import FrozenModel
from lab.equipment.models import Device
from lab.jobs.models import Job
from lab.lapses.models import LaterFinding


class Case(models.Model):
    """Nonconforming work from one cause. Only whether it is open ever changes."""

    class Cause(models.TextChoices):
        CHECK = "check", "A check failed"
        CALIBRATION = "calibration", "A device was found out of tolerance"
        DRAWING = "drawing", "A wrong drawing revision was used"
        EXPANSION = "expansion", "A wrong expansion coefficient was used"
        COMPLAINT = "complaint", "A complaint"
        OTHER = "other", "Another cause"

    class State(models.TextChoices):
        OPEN = "open", "Open"
        CLOSED = "closed", "Closed"

    cause = models.CharField(max_length=20, choices=Cause.choices)
    cause_key = models.CharField(
        max_length=80,
        unique=True,
        null=True,
        help_text="The record behind it, such as check:17: one case a cause.",
    )
    title = models.CharField(max_length=120)
    account = models.TextField(help_text="What happened, and how it came to light.")
    system = models.ForeignKey(
        MeasuringSystem, on_delete=models.PROTECT, null=True, related_name="cases"
    )
    device = models.ForeignKey(
        Device, on_delete=models.PROTECT, null=True, related_name="cases"
    )
    artefact_check = models.ForeignKey(
        ArtefactCheck, on_delete=models.PROTECT, null=True, related_name="cases"
    )
    state = models.CharField(max_length=10, choices=State.choices, default=State.OPEN)
    opened_by = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        on_delete=models.PROTECT,
        null=True,
        related_name="+",
        help_text="Empty where a finding opened it.",
    )
    opened_at = models.DateTimeField(default=clock.now, editable=False)

    class Meta:
        ordering = ["-pk"]
        indexes = [models.Index(fields=["state"], name="case_by_state")]

    def __str__(self) -> str:
        return f"Case {self.pk}: {self.title}"

    @property
    def is_open(self) -> bool:
        return self.state == self.State.OPEN


def _case(name: str) -> models.ForeignKey:  # type: ignore[type-arg]
    return models.ForeignKey(Case, on_delete=models.PROTECT, related_name=name)


def _person() -> models.ForeignKey:  # type: ignore[type-arg]
    return models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
    )


class CaseWindow(FrozenModel):
    """The time in question, as last set; the newest one counts."""

    case = _case("windows")
    since = models.DateTimeField(
        null=True, help_text="Empty where no pass lies before: since ever."
    )
    until = models.DateTimeField()
    reason = models.TextField()
    later_finding = models.OneToOneField(
        LaterFinding,
        on_delete=models.PROTECT,
        null=True,
        related_name="+",
        help_text="What made the sessions in an earlier start suspect as well.",
    )
    set_by = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        on_delete=models.PROTECT,
        null=True,
        related_name="+",
        help_text="Empty where the lapse rules set it.",
    )
    recorded_at = models.DateTimeField(default=clock.now, editable=False)

    class Meta(FrozenModel.Meta):
        ordering = ["case", "pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(since=None) | Q(until__gte=F("since")),
                name="case_window_in_order",
            )
        ]

    def __str__(self) -> str:
        return f"{self.case}, window"


class NamedJob(FrozenModel):
    """A job that a person says the case touches, whatever its times."""

    case = _case("named_jobs")
    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="cases")
    named_by = _person()
    recorded_at = models.DateTimeField(default=clock.now, editable=False)

    class Meta(FrozenModel.Meta):
        ordering = ["case", "pk"]
        constraints = [
            models.UniqueConstraint(fields=["case", "job"], name="case_job_once")
        ]

    def __str__(self) -> str:
        return f"{self.case}: {self.job}"


class Assessment(FrozenModel):
    """How significant the nonconforming work is; the newest one counts."""

    class Significance(models.TextChoices):
        NONE = "none", "No effect on results"
        WITHIN = "within", "An effect within the stated uncertainties"
        SERIOUS = "serious", "Results or statements of conformity may be wrong"

    case = _case("assessments")
    significance = models.CharField(max_length=10, choices=Significance.choices)
    reason = models.TextField(help_text="With the effect on earlier results.")
    may_recur = models.BooleanField(
        help_text="Whether it could happen again: then a corrective action is needed."
    )
    assessed_by = _person()
    recorded_at = models.DateTimeField(default=clock.now, editable=False)

    class Meta(FrozenModel.Meta):
        ordering = ["case", "pk"]

    def __str__(self) -> str:
        return f"{self.case}: {self.significance}"


class CaseDecision(FrozenModel):
    """What becomes of a certificate that a case touches; the newest one counts."""

    class Outcome(models.TextChoices):
        STANDS = "stands", "Stands"
        AMENDED = "amended", "To be amended or replaced"
        WITHDRAWN = "withdrawn", "To be withdrawn"
        MEASURED_AGAIN = "measured again", "To be measured again"

    case = _case("decisions")
    certificate = models.ForeignKey(
        Certificate, on_delete=models.PROTECT, related_name="case_decisions"
    )
    outcome = models.CharField(max_length=20, choices=Outcome.choices)
    justification = models.TextField()
    supersedes = models.OneToOneField(
        "self", on_delete=models.PROTECT, null=True, related_name="superseded_by"
    )
    decided_by = _person()
    recorded_at = models.DateTimeField(default=clock.now, editable=False)

    class Meta(FrozenModel.Meta):
        ordering = ["case", "pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["case", "certificate"],
                condition=Q(supersedes=None),
                name="case_decision_first_once",
            )
        ]

    def __str__(self) -> str:
        return f"{self.case}, {self.certificate}: {self.outcome}"


class Resumption(FrozenModel):
    """That a person let work go on, and why."""

    case = models.OneToOneField(
        Case, on_delete=models.PROTECT, related_name="resumption"
    )
    reason = models.TextField()
    resumed_by = _person()
    recorded_at = models.DateTimeField(default=clock.now, editable=False)

    class Meta(FrozenModel.Meta):
        pass

    def __str__(self) -> str:
        return f"{self.case}, work resumed"


class Closure(FrozenModel):
    """That a case was closed, with all that it touched and decided by then."""

    case = models.OneToOneField(Case, on_delete=models.PROTECT, related_name="closure")
    words = models.TextField()
    snapshot_text = models.TextField(help_text="Canonical JSON with its schema number.")
    snapshot_sha256 = models.CharField(max_length=64)
    closed_by = _person()
    closed_at = models.DateTimeField(default=clock.now, editable=False)

    class Meta(FrozenModel.Meta):
        pass

    def __str__(self) -> str:
        return f"{self.case}, closed"
