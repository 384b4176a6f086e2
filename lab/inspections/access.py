"""Which results a person sees: the lab all, a client none but on certificates."""

from __future__ import annotations

from django.http import Http404

from lab.accounts.models import User
from lab.inspections.models import Result
from lab.jobs.access import jobs_for


def get_result_for(user: User, pk: int) -> Result:
    rows = Result.objects.filter(pk=pk, job__in=jobs_for(user))
    found = None
    if user.may("results.see"):
        found = rows.select_related(
            "job",
            "item",
            "characteristic__revision__part",
            "session__system",
            "evaluated_by",
            "entered_by",
            "supersedes",
        ).first()
    if found is None:
        raise Http404("There is no such result.")
    return found
