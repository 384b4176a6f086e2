"""Canonical JSON: one text for one content, so that it can be hashed and kept.

Keys are sorted, there is no white space, text is UTF-8. Decimals become strings
with the digits they were given; instants become UTC with a Z; NaN and infinities
are refused. Stored bytes are never rewritten, so jsonb, which reorders keys and
rewrites numbers, is of no use here.
"""

from __future__ import annotations

import hashlib
import json
from datetime import UTC, date, datetime
from decimal import Decimal
from enum import Enum
from typing import Any
from uuid import UUID


def canonical_text(content: Any) -> str:
    """Return the one JSON text of ``content``.

    Raises
    ------
    ValueError
        If a number is NaN or infinite.
    TypeError
        If something has no agreed text, a naive datetime for one.
    """
    return json.dumps(
        content,
        sort_keys=True,
        separators=(",", ":"),
        ensure_ascii=False,
        allow_nan=False,
        default=_plain,
    )


def canonical_bytes(content: Any) -> bytes:
    return canonical_text(content).encode()


def sha256_hex(blob: bytes | str) -> str:
    """Return the SHA-256 of bytes, or of a text's UTF-8 bytes, in hexadecimal."""
    return hashlib.sha256(blob.encode() if isinstance(blob, str) else blob).hexdigest()


def _plain(value: Any) -> str:
    if isinstance(value, Decimal):
        if not value.is_finite():
            raise ValueError(f"{value} can't be stored as a number.")
        return str(value)
    if isinstance(value, datetime):
        if value.tzinfo is None:
            raise TypeError("A datetime without a zone has no agreed text.")
        return value.astimezone(UTC).isoformat().replace("+00:00", "Z")
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, UUID):
        return str(value)
    if isinstance(value, Enum):
        return str(value.value)
    raise TypeError(f"{type(value).__name__} has no agreed JSON text.")
