"""Secrets that we hand out, and what of them is stored: only the digest.

Each holds 80 random bits or more, so that a plain SHA-256 of it can't be turned
back by trying; slow hashing is for passwords, which people choose.
"""

from __future__ import annotations

import base64
import secrets

from lab.common.jsontext import sha256_hex

#: Base32 without padding: 10 bytes are 16 signs, in four groups for the eye.
BACKUP_CODE_BYTES = 10
TOKEN_BYTES = 16


def new_token() -> str:
    """Return 128 random bits that fit an address or a cookie."""
    return secrets.token_urlsafe(TOKEN_BYTES)


def new_backup_code() -> str:
    signs = base64.b32encode(secrets.token_bytes(BACKUP_CODE_BYTES)).decode().lower()
    return "-".join(signs[start : start + 4] for start in range(0, len(signs), 4))


def digest_of(secret: str) -> str:
    return sha256_hex(secret)


def digest_of_backup_code(said: str) -> str:
    """Return the digest of a code as typed: in any case, spaced as one likes."""
    signs = "".join(sign for sign in said.lower() if sign.isalnum())
    groups = [signs[start : start + 4] for start in range(0, len(signs), 4)]
    return digest_of("-".join(groups))
