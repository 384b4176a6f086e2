"""What is added to the content at the moment of issue."""

from __future__ import annotations

import base64
import functools
import importlib.metadata
import secrets
import tomllib
from dataclasses import asdict, dataclass
from typing import Any

from django.conf import settings

CODE_BYTES = 16


@dataclass(frozen=True, slots=True)
class Issue:
    """Number, date, who reviewed and who authorised, and the witnesses."""

    number: str
    issued_on: str
    issued_at: str
    authorised_by: str
    reviewed_by: str
    reviewed_on: str
    authenticity_code: str
    authenticity_url: str
    seal_head: str
    program_version: str
    #: Whose key signs the document, or None where the lab signs none.
    signature: dict[str, str] | None


def issued(content: dict[str, Any], issue: Issue) -> dict[str, Any]:
    """Return the whole snapshot: the content as reviewed, and the issue."""
    return content | {"issue": asdict(issue)}


def new_code() -> str:
    """Return an authenticity code: 128 random bits in base32, 26 signs."""
    return base64.b32encode(secrets.token_bytes(CODE_BYTES)).decode().rstrip("=")


def url_of(code: str) -> str:
    """Return the address at which anybody may ask whether a code is authentic."""
    return f"{settings.SITE_URL}/c/{code}/"


@functools.cache
def program_version() -> str:
    """Return the version of this program, installed or run from its folder."""
    try:
        return importlib.metadata.version("unbroken")
    except importlib.metadata.PackageNotFoundError:
        text = (settings.BASE_DIR / "pyproject.toml").read_text()
        return str(tomllib.loads(text)["project"]["version"])
