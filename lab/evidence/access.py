"""Which cases a person sees: the lab all, a client none."""

from __future__ import annotations

from typing import TypeVar

from django.db.models import Model, QuerySet
from django.http import Http404

from lab.accounts.models import User
from lab.certificates.models import Certificate
from lab.checks.models import ArtefactCheck
from lab.customers.models import Customer
from lab.evidence.models import Action, Case, Letter
from lab.lapses.models import SuspicionTask

Row = TypeVar("Row", bound=Model)


def cases_for(user: User) -> QuerySet[Case]:
    return Case.objects.all() if user.may("cases.see") else Case.objects.none()


def get_case_for(user: User, pk: int) -> Case:
    rows = cases_for(user).select_related(
        "system",
        "device",
        "artefact_check__procedure",
        "opened_by",
        "resumption__resumed_by",
        "closure__closed_by",
    )
    found = rows.filter(pk=pk).first()
    if found is None:
        raise Http404("There is no such case.")
    return found


def get_task_for(user: User, case: Case, pk: int) -> SuspicionTask:
    rows = SuspicionTask.objects.filter(pk=pk, artefact_check=case.artefact_check_id)
    return _found(rows.select_related("session__system"), "task")


def get_certificate_in(case: Case, number: str) -> Certificate:
    return _found(Certificate.objects.filter(number=number), "certificate")


def get_customer_in(case: Case, pk: int) -> Customer:
    return _found(Customer.objects.filter(pk=pk), "customer")


def get_letter_for(user: User, pk: int) -> Letter:
    rows = Letter.objects.filter(pk=pk, case__in=cases_for(user))
    return _found(rows.select_related("case", "document__file"), "letter")


def get_action_for(user: User, pk: int) -> Action:
    rows = Action.objects.filter(pk=pk, case__in=cases_for(user))
    return _found(rows.select_related("case"), "action")


def get_check_for(user: User, pk: int) -> ArtefactCheck:
    rows = ArtefactCheck.objects.none()
    if user.may("checks.see"):
        rows = ArtefactCheck.objects.filter(pk=pk)
    return _found(rows.select_related("system", "procedure__procedure"), "check")


def _found(rows: QuerySet[Row], what: str) -> Row:
    found = rows.first()
    if found is None:
        raise Http404(f"There is no such {what}.")
    return found
