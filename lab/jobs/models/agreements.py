"""What was agreed with the customer before the work, as contract review found it."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import Q

from lab.common import clock
from lab.common.frozen import FrozenModel
from lab.customers.models import Contact
from lab.jobs.models.jobs import Job
from lab.laboratory.models import DecisionRuleRevision, MethodRevision
from lab.metrology.conformity import Burden
from lab.parts.models import PartRevision


class Agreement(FrozenModel):
    """One contract review of a job; the newest is in force (ISO/IEC 17025 7.1).

    It pins the drawing revision, the method and the decision rule. When one of them
    changes, a new review is recorded and the results are decided anew under it.
    """

    class BurdenChoice(models.TextChoices):
        CONFORMITY = Burden.CONFORMITY.value, "We show that the item conforms"
        NONCONFORMITY = Burden.NONCONFORMITY.value, "We show that it does not conform"

    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="agreements")
    number = models.PositiveSmallIntegerField()
    asked = models.TextField(help_text="What the customer asks for.")
    part_revision = models.ForeignKey(
        PartRevision, on_delete=models.PROTECT, related_name="+"
    )
    method = models.ForeignKey(
        MethodRevision, on_delete=models.PROTECT, related_name="agreements"
    )
    rule = models.ForeignKey(
        DecisionRuleRevision,
        on_delete=models.PROTECT,
        null=True,
        related_name="agreements",
        help_text="Empty where no statement of conformity is wanted.",
    )
    burden = models.CharField(max_length=20, choices=BurdenChoice.choices, blank=True)
    sampling = models.TextField(
        blank=True, help_text="Sampling plan and method, where the lab samples."
    )
    agreed_with = models.ForeignKey(Contact, on_delete=models.PROTECT, related_name="+")
    agreed_on = models.DateField()
    reviewed_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
    )
    recorded_at = models.DateTimeField(default=clock.now, editable=False)

    class Meta(FrozenModel.Meta):
        ordering = ["job", "-number"]
        constraints = [
            models.UniqueConstraint(
                fields=["job", "number"], name="agreement_number_once_a_job"
            ),
            models.CheckConstraint(
                condition=Q(burden="") | ~Q(rule=None), name="agreement_burden_of_rule"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.job}, contract review {self.number}"

    @property
    def states_conformity(self) -> bool:
        return self.rule_id is not None
