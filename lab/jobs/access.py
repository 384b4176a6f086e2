"""Which jobs a person sees: the lab all, a client contact their own customer's."""

from __future__ import annotations

from django.db.models import QuerySet
from django.http import Http404

from lab.accounts.models import User
from lab.customers.access import customers_for
from lab.jobs.models import Hold, Job, JobItem, MeasuringSession, SessionEvent


def jobs_for(user: User) -> QuerySet[Job]:
    if user.may("jobs.see"):
        return Job.objects.all()
    return Job.objects.filter(customer__in=customers_for(user))


def get_job_for(user: User, number: str) -> Job:
    rows = jobs_for(user).filter(number=number)
    found = rows.select_related(
        "customer", "contact", "part_revision__part", "room__site", "booked_by"
    ).first()
    if found is None:
        raise Http404("There is no such job.")
    return found


def get_item_for(user: User, pk: int) -> JobItem:
    rows = JobItem.objects.filter(pk=pk, job__in=jobs_for(user))
    found = rows.select_related("job").first()
    if found is None:
        raise Http404("There is no such item.")
    return found


def get_session_for(user: User, pk: int) -> MeasuringSession:
    rows = MeasuringSession.objects.filter(pk=pk, job__in=jobs_for(user))
    found = rows.select_related("job", "system", "room__site").first()
    if found is None:
        raise Http404("There is no such session.")
    return found


def get_event_for(user: User, pk: int) -> SessionEvent:
    rows = SessionEvent.objects.filter(pk=pk, session__job__in=jobs_for(user))
    found = rows.select_related("session__job").first()
    if found is None:
        raise Http404("There is no such event.")
    return found


def get_hold_for(user: User, pk: int) -> Hold:
    rows = Hold.objects.filter(pk=pk, job__in=jobs_for(user))
    found = rows.select_related("job").first()
    if found is None:
        raise Http404("There is no such hold.")
    return found
