"""Who sees what of the laboratory: its staff everything, a client nothing."""

from __future__ import annotations

from typing import TypeVar

from django.db.models import Model, QuerySet
from django.http import Http404

from lab.accounts.models import User
from lab.laboratory.models import (
    Authorisation,
    DecisionRule,
    Deputation,
    Method,
    MethodRevision,
    Room,
    Site,
)

Record = TypeVar("Record", bound=Model)


def get_site_for(user: User, pk: int) -> Site:
    return _visible(user, Site.objects.filter(pk=pk))


def get_room_for(user: User, pk: int) -> Room:
    return _visible(user, Room.objects.filter(pk=pk).select_related("site"))


def get_method_for(user: User, code: str) -> Method:
    return _visible(user, Method.objects.filter(code=code))


def get_revision_for(user: User, pk: int) -> MethodRevision:
    rows = MethodRevision.objects.filter(pk=pk)
    return _visible(
        user,
        rows.select_related(
            "method", "recorded_by", "withdrawal", "withdrawal__withdrawn_by"
        ),
    )


def get_authorisation_for(user: User, pk: int) -> Authorisation:
    rows = Authorisation.objects.filter(pk=pk)
    return _visible(
        user,
        rows.select_related(
            "person",
            "method",
            "granted_by",
            "evidence_file",
            "revocation",
            "revocation__revoked_by",
        ),
    )


def get_deputation_for(user: User, pk: int) -> Deputation:
    rows = Deputation.objects.filter(pk=pk)
    return _visible(user, rows.select_related("person", "deputy"))


def get_rule_for(user: User, pk: int) -> DecisionRule:
    return _visible(user, DecisionRule.objects.filter(pk=pk))


def _visible(user: User, rows: QuerySet[Record]) -> Record:
    """Return the one row, or say that there is nothing: to a client there isn't."""
    found = rows.first() if user.may("laboratory.see") else None
    if found is None:
        raise Http404("There is no such record of the laboratory.")
    return found
