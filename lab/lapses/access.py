"""Which findings a person sees: the lab all, a client none."""

from __future__ import annotations

from django.db.models import QuerySet
from django.http import Http404

from lab.accounts.models import User
from lab.jobs.access import jobs_for
from lab.jobs.models import Hold
from lab.lapses.models import Finding


def get_finding_for(user: User, pk: int) -> Finding:
    rows = Finding.objects.filter(pk=pk, session__job__in=jobs_for(user))
    found = rows.select_related("session__job", "hold").first()
    if found is None:
        raise Http404("There is no such finding.")
    return found


def open_holds_of_cause(user: User, finding: Finding) -> QuerySet[Hold]:
    """Return the open holds that the same record raised, on whatever job."""
    alike = Finding.objects.filter(cause=finding.cause, name=finding.name)
    rows = Hold.objects.filter(
        pk__in=alike.values("hold"), clearance=None, job__in=jobs_for(user)
    )
    return rows.select_related("job").order_by("job__number", "pk")
