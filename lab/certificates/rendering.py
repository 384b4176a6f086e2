"""Rendering: the document of a certificate made once, and served for ever."""

from __future__ import annotations

from lab.certificates.models import Certificate, Document
from lab.certificates.pdf import render
from lab.common.files.store import store_file
from lab.common.jsontext import sha256_hex


def render_certificate(certificate_id: int) -> None:
    """Store the document once; run again, or by two at once, it changes nothing.

    It is drawn and stored outside any transaction. Whoever is killed between leaves
    at most a stored file without a document, which the sweep of files takes away;
    the next run begins anew. The first insert of the document wins.
    """
    certificate = Certificate.objects.get(pk=certificate_id)
    if Document.objects.filter(certificate=certificate).exists():
        return
    unsigned = render(certificate.snapshot_text)
    stored = store_file(unsigned, name=f"{certificate.number}.pdf", kind="other")
    Document.objects.get_or_create(
        certificate=certificate,
        defaults={"file": stored, "unsigned_sha256": sha256_hex(unsigned)},
    )
