"""Which drafts and certificates a person sees: the lab all; clients see none here."""

from __future__ import annotations

from django.http import Http404

from lab.accounts.models import User
from lab.certificates.models import Certificate, Draft
from lab.certificates.selectors import certificates_for, with_standing
from lab.jobs.access import jobs_for


def get_draft_for(user: User, pk: int) -> Draft:
    rows = Draft.objects.none()
    if user.may("certificates.see"):
        rows = Draft.objects.filter(pk=pk, job__in=jobs_for(user))
    found = rows.select_related(
        "job__customer",
        "job__contact",
        "job__part_revision__part",
        "job__room__site",
        "prepared_by",
        "reviewed_by",
        "amends",
        "replaces",
        "certificate",
    ).first()
    if found is None:
        raise Http404("There is no such draft.")
    return found


def get_certificate_for(user: User, number: str) -> Certificate:
    rows = with_standing(certificates_for(user).filter(number=number))
    found = rows.select_related("document__file", "draft", "amends", "replaces").first()
    if found is None:
        raise Http404("There is no such certificate.")
    return found
