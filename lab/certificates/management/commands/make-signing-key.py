"""``manage.py make-signing-key``: a key to start with, certified by itself."""  # noqa: N999 - as it is typed

from __future__ import annotations

import os
from datetime import timedelta
from pathlib import Path
from typing import Any

from cryptography import x509
from cryptography.hazmat.primitives import hashes
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.serialization import (
    BestAvailableEncryption,
    pkcs12,
)
from cryptography.x509.oid import NameOID
from django.conf import settings
from django.core.management.base import BaseCommand, CommandError, CommandParser

from lab.certificates.documents.signing import told_by
from lab.common import clock

YEARS = 10


class Command(BaseCommand):
    """Write a new key and say what it is good for."""

    help = (
        "Write a signing key (ECDSA P-256, PKCS #12) with a certificate that only "
        "vouches for itself. Readers of a document see that it is unaltered; that the "
        "key is the laboratory's, a certificate bought from a trust service says."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("target", metavar="TARGET", type=Path)
        parser.add_argument("--holder", required=True, help="The laboratory's name.")

    def handle(self, *, target: Path, holder: str, **options: Any) -> None:
        passphrase = settings.SIGNING_PASSPHRASE
        if not passphrase:
            raise CommandError(
                "Set UNBROKEN_SIGNING_PASSPHRASE first: the key is written under it."
            )
        key = ec.generate_private_key(ec.SECP256R1())
        certificate = _certificate(key, holder)
        written = pkcs12.serialize_key_and_certificates(
            holder.encode(),
            key,
            certificate,
            None,
            BestAvailableEncryption(passphrase.encode()),
        )
        _write_new(target, written)
        self.stdout.write(f"Wrote {target}, readable by its owner only.")
        mark = told_by(certificate).fingerprint
        self.stdout.write(f"SHA-256 of its certificate: {mark}")
        self.stdout.write(
            f"Set UNBROKEN_SIGNING_KEY={target.resolve()} and start the program anew."
        )


def _certificate(key: ec.EllipticCurvePrivateKey, holder: str) -> x509.Certificate:
    name = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, holder)])
    now = clock.now()
    usage = x509.KeyUsage(
        digital_signature=True,
        content_commitment=True,
        key_encipherment=False,
        data_encipherment=False,
        key_agreement=False,
        key_cert_sign=False,
        crl_sign=False,
        encipher_only=False,
        decipher_only=False,
    )
    return (
        x509.CertificateBuilder()
        .subject_name(name)
        .issuer_name(name)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now)
        .not_valid_after(now + timedelta(days=365 * YEARS))
        .add_extension(usage, critical=True)
        .sign(key, hashes.SHA256())
    )


def _write_new(target: Path, content: bytes) -> None:
    try:
        handle = os.open(target, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    except FileExistsError:
        raise CommandError(
            f"{target} exists. A key is never overwritten: documents name it. "
            "Choose another name."
        ) from None
    except OSError as reason:
        raise CommandError(f"{target} can't be written: {reason.strerror}.") from None
    with os.fdopen(handle, "wb") as file:
        file.write(content)
