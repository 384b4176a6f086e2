"""Whether a signed certificate is as it was signed (XML Signature).

What is found out offline is whether the file changed since somebody signed it with
the key of the enclosed X.509 certificate, and whether that certificate's time is
over. Whether it was revoked, and whether its holder is who the name says, is not.

A signature counts for the whole document only if it stands in the outermost element
and refers to all of it (``URI=""``), with no transformation that could leave a part
out. Others are named as not checked, not as good.
"""

from __future__ import annotations

import base64
import binascii
from datetime import datetime, timedelta
from typing import Any, Final

from cryptography import x509
from cryptography.exceptions import InvalidSignature as BadCipher
from signxml.exceptions import InvalidDigest, InvalidSignature, SignXMLException
from signxml.verifier import SignatureConfiguration, XMLVerifier

from lab.common.errors import NotAcceptable
from lab.equipment.dcc.records import EXPIRED, INTACT, UNCHECKED, UNSIGNED, Signature

DS: Final = "{http://www.w3.org/2000/09/xmldsig#}"
#: The enveloped-signature transformation, and the canonical forms of XML.
HARMLESS: Final = frozenset(
    {
        "http://www.w3.org/2000/09/xmldsig#enveloped-signature",
        "http://www.w3.org/TR/2001/REC-xml-c14n-20010315",
        "http://www.w3.org/TR/2001/REC-xml-c14n-20010315#WithComments",
        "http://www.w3.org/2001/10/xml-exc-c14n#",
        "http://www.w3.org/2001/10/xml-exc-c14n#WithComments",
        "http://www.w3.org/2006/12/xml-c14n11",
        "http://www.w3.org/2006/12/xml-c14n11#WithComments",
    }
)
MOST_REFERENCES: Final = 8


class Altered(NotAcceptable):
    """The file was changed after it was signed."""


def signature_of(blob: bytes, root: Any, now: datetime) -> Signature:
    """Return how a document is signed; ``root`` is that document, parsed safely.

    Raises
    ------
    Altered
        If a signature over the whole document doesn't fit it.
    """
    signatures = root.findall(f".//{DS}Signature")
    own = root.findall(f"{DS}Signature")
    if not signatures:
        return Signature(
            UNSIGNED,
            "The file is not signed: nothing shows whether it was changed on its way.",
        )
    if len(own) != 1 or not (references := _whole_document(own[0])):
        return _unchecked("it doesn't cover the whole file in a way that is known here")
    holder = _holder(own[0])
    if holder is None:
        return _unchecked("it encloses no certificate that can be read")
    return _verified(blob, references, holder, now)


def _whole_document(signature: Any) -> int:
    """Return how many references a signature has, if one is the whole document."""
    references = signature.findall(f"{DS}SignedInfo/{DS}Reference")
    harmless = all(
        transform.get("Algorithm") in HARMLESS
        for reference in references
        for transform in reference.findall(f"{DS}Transforms/{DS}Transform")
    )
    whole = any(reference.get("URI") == "" for reference in references)
    count = len(references)
    return count if whole and harmless and count <= MOST_REFERENCES else 0


def _holder(signature: Any) -> x509.Certificate | None:
    text = signature.findtext(f"{DS}KeyInfo/{DS}X509Data/{DS}X509Certificate")
    try:
        return x509.load_der_x509_certificate(base64.b64decode(text or ""))
    except (ValueError, binascii.Error):
        return None


def _verified(
    blob: bytes, references: int, holder: x509.Certificate, now: datetime
) -> Signature:
    """Verify as of a moment at which the certificate counted; then look at today."""
    first, last = holder.not_valid_before_utc, holder.not_valid_after_utc
    configuration = SignatureConfiguration(
        expect_references=references,
        location="./",
        verification_time=first + (last - first) / 2,
    )
    try:
        XMLVerifier().verify(blob, x509_cert=holder, expect_config=configuration)
    except (InvalidDigest, InvalidSignature, BadCipher) as fault:
        if not _is_mismatch(fault):
            return _unchecked("it is made in a way that is not known here")
        raise Altered(
            "The file was changed after it was signed: its content doesn't fit its "
            "signature. Ask the calibration laboratory for the original.",
            field="file",
        ) from None
    except (SignXMLException, ValueError):
        return _unchecked("it is made in a way that is not known here")
    return _dated(_name(holder), last, now)


def _is_mismatch(fault: Exception) -> bool:
    """Tell a signature that doesn't fit from one that can't be worked out."""
    return isinstance(fault, InvalidDigest | BadCipher) or (
        isinstance(fault, InvalidSignature) and "verification failed" in str(fault)
    )


def _dated(signer: str, last: datetime, now: datetime) -> Signature:
    unsaid = "Whether it was revoked can't be checked here."
    if now > last + timedelta(seconds=1):
        return Signature(
            EXPIRED,
            f"The file is as {signer} signed it. The signer's certificate ran out on "
            f"{last:%Y-%m-%d}, so that nothing shows when it was signed. {unsaid}",
            signer,
        )
    return Signature(
        INTACT,
        f"The file is as {signer} signed it. The signer's certificate counts until "
        f"{last:%Y-%m-%d}. {unsaid}",
        signer,
    )


def _name(holder: x509.Certificate) -> str:
    try:
        return holder.subject.rfc4514_string()[:200]
    except ValueError:
        return "somebody without a readable name"


def _unchecked(reason: str) -> Signature:
    return Signature(
        UNCHECKED,
        f"The file is signed, but the signature was not checked: {reason}. Check it "
        "with the signer's own means.",
    )
