"""What a stranger is told of a certificate, and how a client sees theirs."""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass
from typing import Any, Final

from django.core.files import File
from django.db.models import QuerySet

from lab.accounts.models import User
from lab.certificates.documents.signing import Signer, signature_of
from lab.certificates.models import Certificate
from lab.certificates.selectors import (
    SHAPES,
    Standing,
    certificates_for,
    standing_of,
    with_standing,
)
from lab.common.files.store import read_file
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


@dataclass(frozen=True, slots=True)
class Compared:
    """What is told of a file that equals a stored document, byte for byte."""

    told: Told
    #: "good", "bad", or "" where the document says nothing of a signature.
    signature: str


def told_of(code: str) -> Told | None:
    """Return what is told of the certificate with a code; None if none has it."""
    rows = with_standing(Certificate.objects.filter(authenticity_code=code))
    found = rows.defer("snapshot_text").first()
    return None if found is None else _told(found)


def compared(file: File[bytes]) -> Compared | None:
    """Return what is told of a file from outside; None if no document equals it.

    Only its hash is taken: nothing in it is read. The signature that is looked at is
    that of the stored document, which is the same file.
    """
    digest = hashlib.sha256()
    for chunk in file.chunks():
        digest.update(chunk)
    rows = with_standing(
        Certificate.objects.filter(document__file__sha256=digest.hexdigest())
    )
    found = rows.select_related("document__file").first()
    if found is None:
        return None
    named = json.loads(found.snapshot_text).get("issue", {}).get("signature")
    stored = read_file(found.document.file)
    signature = signature_of(stored, Signer(**named) if named else None)
    return Compared(_told(found), signature)


def _told(found: Certificate) -> Told:
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
