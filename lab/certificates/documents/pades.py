"""One invisible signature over a whole file: PAdES B-B (ETSI EN 319 142-1)."""

from __future__ import annotations

from io import BytesIO
from typing import Final

from pyhanko.pdf_utils.incremental_writer import IncrementalPdfFileWriter
from pyhanko.sign.fields import SigSeedSubFilter
from pyhanko.sign.signers import PdfSignatureMetadata, SimpleSigner, sign_pdf

FIELD: Final = "Issue"


def signed(document: bytes, key: str, passphrase: str, holder: str) -> bytes:
    """Return the document with a signature added behind it.

    ``key`` is the path of a PKCS #12 file.
    """
    signer = SimpleSigner.load_pkcs12(  # type: ignore[no-untyped-call]
        key, passphrase=passphrase.encode()
    )
    written = BytesIO()
    sign_pdf(
        IncrementalPdfFileWriter(BytesIO(document)),
        PdfSignatureMetadata(
            field_name=FIELD,
            md_algorithm="sha256",
            subfilter=SigSeedSubFilter.PADES,
            name=holder,
            reason="Issue of this document",
        ),
        signer=signer,
        output=written,
    )
    return written.getvalue()
