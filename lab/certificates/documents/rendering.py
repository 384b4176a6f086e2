"""Rendering: the document of a certificate made once, and served for ever."""

from __future__ import annotations

import json
from typing import Any

from lab.certificates.documents.archive import Attachment, archived
from lab.certificates.documents.dcc import certificate_xml
from lab.certificates.documents.qif import results_qif
from lab.certificates.documents.results_csv import results_csv
from lab.certificates.documents.signing import Signer, signed
from lab.certificates.models import Certificate, Document
from lab.certificates.pdf import render
from lab.certificates.snapshot.reading import instant_of_issue, read_snapshot
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
    unsigned = document_of(certificate.snapshot_text)
    whole = _signed(unsigned, certificate.snapshot_text)
    stored = store_file(whole, name=f"{certificate.number}.pdf", kind="other")
    Document.objects.get_or_create(
        certificate=certificate,
        defaults={"file": stored, "unsigned_sha256": sha256_hex(unsigned)},
    )


def document_of(snapshot_text: str) -> bytes:
    """Return the unsigned document: the same bytes for the same snapshot."""
    snapshot = read_snapshot(snapshot_text)
    number = snapshot["issue"]["number"]
    attachments = [
        Attachment(
            name=f"{number}-results.csv",
            description="The stated results as a table",
            mime_type="text/csv",
            content=results_csv(snapshot),
        ),
        Attachment(
            name=f"{number}-content.json",
            description="The whole content from which the document was drawn",
            mime_type="application/json",
            content=snapshot_text.encode(),
            relationship="Source",
        ),
        *_machine_readable(snapshot),
    ]
    return archived(render(snapshot_text), instant_of_issue(snapshot), attachments)


def _machine_readable(snapshot: dict[str, Any]) -> list[Attachment]:
    number = snapshot["issue"]["number"]
    made = [
        (
            f"{number}-dcc.xml",
            "The certificate as DCC 3.3.0",
            certificate_xml(snapshot),
        ),
        (f"{number}-results.qif", "The results as QIF 3.0", results_qif(snapshot)),
    ]
    return [
        Attachment(name, words, "application/xml", content, "Alternative")
        for name, words, content in made
        if content is not None
    ]


def _signed(unsigned: bytes, snapshot_text: str) -> bytes:
    """Sign where the snapshot says that it is signed, by the key that it names."""
    named = json.loads(snapshot_text)["issue"].get("signature")
    return signed(unsigned, Signer(**named)) if named else unsigned
