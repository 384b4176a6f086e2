"""Who may measure, evaluate, review and authorise by which method, and until when."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import F, Q

from lab.common import clock
from lab.common.files.models import StoredFile
from lab.common.frozen import FrozenModel
from lab.laboratory.models.methods import Method


class Activity(models.TextChoices):
    """What a person is authorised for (ISO/IEC 17025, 6.2.6; letter from memory)."""

    MEASURE = "measure", "Measure"
    EVALUATE = "evaluate", "Evaluate"
    REVIEW = "review", "Review"
    AUTHORISE = "authorise", "Authorise"


#: What a deputy takes over. Measuring and evaluating are skills that each person
#: shows for themself; review and authorising are duties that can be stood in for
#: (common practice, no source).
DEPUTISED = (Activity.REVIEW, Activity.AUTHORISE)


def _person(related_name: str = "+") -> models.ForeignKey:  # type: ignore[type-arg]
    return models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name=related_name
    )


class Authorisation(FrozenModel):
    """One person, one method, one activity, from a day to the end of another.

    Days are those of the laboratory's time zone. What ends one before its day is a
    row of its own, :class:`AuthorisationRevocation`; a renewal is a new row.
    """

    person = _person("authorisations")
    method = models.ForeignKey(
        Method, on_delete=models.PROTECT, related_name="authorisations"
    )
    activity = models.CharField(max_length=20, choices=Activity.choices)
    valid_from = models.DateField()
    valid_until = models.DateField(
        null=True, blank=True, help_text="The last day; empty where no end is set."
    )
    evidence = models.TextField(help_text="What shows the competence.")
    evidence_file = models.ForeignKey(
        StoredFile, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    granted_by = _person()
    recorded_at = models.DateTimeField(default=clock.now, editable=False)

    class Meta(FrozenModel.Meta):
        constraints = [
            models.CheckConstraint(
                condition=Q(valid_until=None) | Q(valid_until__gte=F("valid_from")),
                name="authorisation_days_in_order",
            )
        ]
        indexes = [
            models.Index(
                fields=["person", "method", "activity", "valid_from"],
                name="authorisation_of_person",
            )
        ]

    def __str__(self) -> str:
        return f"{self.person}: {self.get_activity_display().lower()} by {self.method}"


class AuthorisationRevocation(FrozenModel):
    """An authorisation taken back: from its instant on, it counts no longer."""

    authorisation = models.OneToOneField(
        Authorisation, on_delete=models.PROTECT, related_name="revocation"
    )
    at = models.DateTimeField(default=clock.now)
    reason = models.TextField()
    revoked_by = _person()
    recorded_at = models.DateTimeField(default=clock.now, editable=False)

    class Meta(FrozenModel.Meta):
        pass

    def __str__(self) -> str:
        return f"{self.authorisation}, revoked"


class Deputation(FrozenModel):
    """A person who stands in for another for a time (review and authorising only)."""

    person = _person("deputations")
    deputy = _person("stands_in")
    valid_from = models.DateField()
    valid_until = models.DateField(help_text="The last day.")
    reason = models.TextField()
    granted_by = _person()
    recorded_at = models.DateTimeField(default=clock.now, editable=False)

    class Meta(FrozenModel.Meta):
        constraints = [
            models.CheckConstraint(
                condition=Q(valid_until__gte=F("valid_from")),
                name="deputation_days_in_order",
            ),
            models.CheckConstraint(
                condition=~Q(person=F("deputy")), name="deputation_of_two_people"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.deputy} for {self.person}"


class DeputationEnd(FrozenModel):
    """A deputation that ended before its last day."""

    deputation = models.OneToOneField(
        Deputation, on_delete=models.PROTECT, related_name="ending"
    )
    at = models.DateTimeField(default=clock.now)
    ended_by = _person()
    recorded_at = models.DateTimeField(default=clock.now, editable=False)

    class Meta(FrozenModel.Meta):
        pass

    def __str__(self) -> str:
        return f"{self.deputation}, ended"
