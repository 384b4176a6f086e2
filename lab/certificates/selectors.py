"""How certificates stand, and what one sees of them."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any, Literal

from django.db.models import Exists, OuterRef, Prefetch, Q, QuerySet

from lab.accounts.models import User
from lab.certificates.models import (
    Certificate,
    CertificateItem,
    Draft,
)
from lab.inspections.models import Result
from lab.jobs.access import jobs_for
from lab.jobs.models import Job, SessionEvent

Standing = Literal["current", "amended", "superseded", "withdrawn"]
SHAPES = {
    "current": "state-good",
    "amended": "state-wait",
    "superseded": "state-off",
    "withdrawn": "state-bad",
}


def standing_of(certificate: Certificate) -> Standing:
    """Return how a certificate stands, as its later rows say."""
    if hasattr(certificate, "withdrawal"):
        return "withdrawn"
    if hasattr(certificate, "replacement"):
        return "superseded"
    if any(not hasattr(one, "withdrawal") for one in certificate.amendments.all()):
        return "amended"
    return "current"


def with_standing(rows: QuerySet[Certificate]) -> QuerySet[Certificate]:
    """Fetch all that :func:`standing_of` looks at, for lists."""
    amendments = Certificate.objects.select_related("withdrawal")
    return rows.select_related(
        "withdrawal", "replacement", "job__customer", "issued_by"
    ).prefetch_related(Prefetch("amendments", amendments))


def certificates_for(user: User) -> QuerySet[Certificate]:
    """Return the certificates of the jobs that a person sees."""
    return Certificate.objects.filter(job__in=jobs_for(user))


def certificates_in_use(job: Job) -> QuerySet[Certificate]:
    """Return a job's certificates that are neither withdrawn nor replaced."""
    return job.certificates.filter(withdrawal=None, replacement=None).order_by("pk")


def certificates_like(rows: QuerySet[Certificate], said: str) -> QuerySet[Certificate]:
    """Return certificates whose number, job, customer, part or item holds a text."""
    if not said:
        return rows
    named = CertificateItem.objects.filter(item__serial__icontains=said)
    return rows.filter(
        Q(number__icontains=said)
        | Q(job__number__icontains=said)
        | Q(job__customer__name__icontains=said)
        | Q(job__part_revision__part__number__icontains=said)
        | Q(pk__in=named.values("certificate"))
    )


def changed_results(certificate: Certificate) -> QuerySet[Result]:
    """Return the results stated on a certificate that were corrected since."""
    later = Result.objects.filter(supersedes=OuterRef("pk"))
    rows = Result.objects.filter(certified__certificate=certificate)
    return rows.filter(Exists(later)).select_related("item", "characteristic")


def people_who_worked_on(job: Job) -> set[int]:
    """Return who measured, evaluated or entered results: none of them reviews."""
    events = SessionEvent.objects.filter(session__job=job)
    people: set[int] = set(events.values_list("said_by", flat=True))
    people |= set(job.sessions.values_list("started_by", flat=True))
    for names in job.results.values_list("evaluated_by", "entered_by"):
        people |= set(names)
    return people


def drafts_of(job: Job) -> QuerySet[Draft]:
    rows = job.drafts.select_related("prepared_by", "reviewed_by", "amends", "replaces")
    return rows.prefetch_related("items")


def open_drafts_for(job: Job, items: Iterable[Any]) -> QuerySet[Draft]:
    """Return the drafts under way that are about one of some items."""
    states = (Draft.State.DRAFT, Draft.State.IN_REVIEW, Draft.State.REVIEWED)
    return job.drafts.filter(state__in=states, items__in=list(items)).distinct()


def drafts_under_way(user: User) -> QuerySet[Draft]:
    """Return the drafts that somebody has to do something about, oldest first."""
    states = (Draft.State.DRAFT, Draft.State.IN_REVIEW, Draft.State.REVIEWED)
    rows = Draft.objects.filter(state__in=states, job__in=jobs_for(user))
    return rows.select_related("job__customer", "prepared_by").order_by("pk")
