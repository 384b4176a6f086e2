"""A digital certificate is read in the sandbox, and kept only if it can be read."""

from __future__ import annotations

from typing import Any

from django.conf import settings
from django.core.files.base import File

from lab.accounts.models import User
from lab.common import audit, clock
from lab.common.errors import TooLarge
from lab.common.files.store import MEGABYTE, store_file
from lab.common.services import service
from lab.equipment.dcc import read_sandboxed
from lab.equipment.models import CertificateFile, Device


@service(may="calibrations.record")
def keep_certificate(
    *, device: Device, upload: File[Any], name: str, acting_user: User
) -> CertificateFile:
    """Read a digital certificate for a device, and keep the file if it is one.

    Nothing is written before it was read: a hostile file leaves neither a row nor
    bytes in the folder.

    Raises
    ------
    NotAcceptable
        If it is too large, no XML, no certificate that can be read, was altered after
        it was signed, or needs more time or memory than it may have.
    """
    blob = _content(upload)
    read = read_sandboxed(blob, now=clock.now())
    stored = store_file(blob, name=name, kind="xml")
    made = CertificateFile.objects.create(
        device=device, file=stored, brought_by=acting_user
    )
    audit.record(
        "certificate_file.read",
        made,
        actor=acting_user,
        after={
            "sha256": stored.sha256,
            "identifier": read.identifier,
            "signature": read.signature.state,
        },
    )
    return made


def _content(upload: File[Any]) -> bytes:
    """Return what was sent, and no more of it than an XML file may have."""
    limit: int = settings.UPLOAD_LIMITS["xml"]
    blob: bytes = upload.read(limit + 1)
    if len(blob) > limit:
        raise TooLarge(
            f"The file is larger than {limit / MEGABYTE:g} MB, the most that is taken "
            "here. Type the values in by hand, and keep the file with them.",
            field="upload",
        )
    return blob
