"""One invisible signature over a whole file: PAdES B-B (ETSI EN 319 142-1)."""

from __future__ import annotations

from io import BytesIO
from typing import Final

from pyhanko.pdf_utils.incremental_writer import IncrementalPdfFileWriter
from pyhanko.pdf_utils.reader import PdfFileReader
from pyhanko.sign.fields import SigSeedSubFilter
from pyhanko.sign.signers import PdfSignatureMetadata, SimpleSigner, sign_pdf
from pyhanko.sign.validation import validate_pdf_signature
from pyhanko_certvalidator import ValidationContext

FIELD: Final = "Issue"


def signs_well(document: bytes, fingerprint: str) -> bool:
    """Tell whether the one signature is by that key and covers the file as it is.

    The key's own certificate is trusted for what the laboratory said that it is: no
    authority is asked, and nothing is fetched.
    """
    reader = PdfFileReader(BytesIO(document))
    if len(reader.embedded_signatures) != 1:
        return False
    (signature,) = reader.embedded_signatures
    holder = signature.signer_cert
    if holder is None or holder.sha256.hex() != fingerprint:
        return False
    trusted = ValidationContext(trust_roots=[holder], allow_fetching=False)
    return bool(validate_pdf_signature(signature, trusted).bottom_line)


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
