"""Signing documents with the laboratory's own key, where one is set up.

The key is a PKCS #12 file outside the records; the settings
name its path, the environment its passphrase.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from cryptography import x509
from cryptography.hazmat.primitives import hashes
from cryptography.hazmat.primitives.serialization import pkcs12
from cryptography.x509.oid import NameOID
from django.conf import settings

from lab.common.errors import DomainError


class SigningKeyUnusable(DomainError):
    """The signing key that the settings name can't be used."""


@dataclass(frozen=True, slots=True)
class Signer:
    """Whose key signs: the certificate's holder, and its SHA-256 in hexadecimal."""

    holder: str
    fingerprint: str


def signer() -> Signer | None:
    """Return whose key is set up, or None where the lab signs on paper only.

    Raises
    ------
    SigningKeyUnusable
        If a key is named and can't be read.
    """
    if not settings.SIGNING_KEY:
        return None
    return told_by(_certificate(Path(settings.SIGNING_KEY)))


def told_by(certificate: x509.Certificate) -> Signer:
    names = certificate.subject.get_attributes_for_oid(NameOID.COMMON_NAME)
    holder = str(names[0].value) if names else certificate.subject.rfc4514_string()
    return Signer(holder, certificate.fingerprint(hashes.SHA256()).hex())


def _certificate(path: Path) -> x509.Certificate:
    try:
        key, certificate, _ = pkcs12.load_key_and_certificates(
            path.read_bytes(), settings.SIGNING_PASSPHRASE.encode() or None
        )
    except OSError:
        raise SigningKeyUnusable(
            f"The signing key {path} can't be read. Look at the path, and at who owns "
            "the file."
        ) from None
    except ValueError:
        raise SigningKeyUnusable(
            f"The signing key {path} does not open: it is no PKCS #12 file, or the "
            "passphrase in UNBROKEN_SIGNING_PASSPHRASE is another's."
        ) from None
    if key is None or certificate is None:
        raise SigningKeyUnusable(
            f"{path} lacks the key or its certificate. Put both into one PKCS #12 file."
        )
    return certificate


def signed(document: bytes, expected: Signer) -> bytes:
    """Return the document with a signature by the key that its snapshot names.

    Raises
    ------
    SigningKeyUnusable
        If there is no key, or another than the one that was printed.
    """
    # Loading it takes more than half a second, which only the worker should wait for.
    from lab.certificates.documents import pades  # noqa: PLC0415

    present = signer()
    if present is None or present.fingerprint != expected.fingerprint:
        raise SigningKeyUnusable(
            f"The document says that it is signed by the key of {expected.holder} with "
            f"the SHA-256 {expected.fingerprint[:16]}…, and that key is not set up. "
            "Set it up again, and let the work be tried anew."
        )
    return pades.signed(
        document, settings.SIGNING_KEY, settings.SIGNING_PASSPHRASE, expected.holder
    )


def signature_of(document: bytes, expected: Signer | None) -> str:
    """Tell of a stored document's signature: "good", "bad", or "" where it has none.

    ``document`` is one of our own, its hash found unchanged; files from outside are
    not parsed here.
    """
    from lab.certificates.documents import pades  # noqa: PLC0415 - see above

    if expected is None:
        return ""
    return "good" if pades.signs_well(document, expected.fingerprint) else "bad"
