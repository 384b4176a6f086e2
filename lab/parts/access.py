"""Which parts a person sees: the lab all, a client nothing here."""

from __future__ import annotations

from django.db.models import QuerySet
from django.http import Http404

from lab.accounts.models import User
from lab.parts.models import Part, PartRevision


def parts_for(user: User) -> QuerySet[Part]:
    return Part.objects.all() if user.may("parts.see") else Part.objects.none()


def get_part_for(user: User, pk: int) -> Part:
    found = parts_for(user).filter(pk=pk).select_related("customer").first()
    if found is None:
        raise Http404("There is no such part.")
    return found


def get_revision_for(user: User, pk: int) -> PartRevision:
    rows = PartRevision.objects.filter(pk=pk, part__in=parts_for(user))
    found = rows.select_related("part__customer", "recorded_by").first()
    if found is None:
        raise Http404("There is no such part revision.")
    return found
