"""What a stranger is told of a certificate, and how a client sees theirs."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

from django.db.models import QuerySet

from lab.accounts.models import User
from lab.certificates.models import Certificate
from lab.certificates.selectors import (
    SHAPES,
    Standing,
    certificates_for,
    standing_of,
    with_standing,
)
from lab.jobs.models import Job

#: How many certificates one page lists; a job's own page has all of that job's.
SHOWN: Final = 50
#: How a certificate stands that something may have taken the place of.
TAKEN_OUT: Final[tuple[Standing, ...]] = ("superseded", "withdrawn")


@dataclass(frozen=True, slots=True)
class Told:
    """All that anybody is told of a certificate: that it is ours, and how it stands.

    ``others`` are the numbers of the documents that amend it, or of the one that took
    its place.
    """

    number: str
    standing: Standing
    others: tuple[str, ...]

    @property
    def shape(self) -> str:
        return SHAPES[self.standing]


def told_of(code: str) -> Told | None:
    """Return what is told of the certificate with a code; None if none has it."""
    rows = with_standing(Certificate.objects.filter(authenticity_code=code))
    found = rows.defer("snapshot_text").first()
    if found is None:
        return None
    standing = standing_of(found)
    return Told(found.number, standing, _others(found, standing))


def _others(certificate: Certificate, standing: Standing) -> tuple[str, ...]:
    if standing == "amended":
        amendments = certificate.amendments.all()
        valid = [one.number for one in amendments if not hasattr(one, "withdrawal")]
        return tuple(sorted(valid))
    if standing in TAKEN_OUT and hasattr(certificate, "replacement"):
        return (certificate.replacement.number,)
    return ()


def rows_for(user: User, job: Job | None = None) -> list[dict[str, Any]]:
    """Return a client's certificates, or those of one job, each with how it stands."""
    rows: QuerySet[Certificate] = certificates_for(user)
    if job is not None:
        rows = rows.filter(job=job)
    rows = with_standing(rows).select_related("document").defer("snapshot_text")
    return [
        {
            "certificate": one,
            "standing": (standing := standing_of(one)),
            "shape": SHAPES[standing],
            "is_drawn": hasattr(one, "document"),
        }
        for one in rows.order_by("-pk")[:SHOWN]
    ]
