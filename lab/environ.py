"""Settings from the environment, read so that nonsense fails loudly at start."""

from __future__ import annotations

import os
from pathlib import Path
from urllib.parse import urlsplit

from django.core.exceptions import ImproperlyConfigured

TRUE, FALSE = {"1", "true", "yes", "on"}, {"0", "false", "no", "off"}


def text(name: str, default: str = "") -> str:
    return os.environ.get(name, default).strip()


def flag(name: str, default: bool) -> bool:
    said = text(name).lower()
    if not said:
        return default
    if said in TRUE:
        return True
    if said in FALSE:
        return False
    raise ImproperlyConfigured(f"{name}={said!r} is neither yes nor no.")


def integer(name: str, default: int, *, minimum: int = 0) -> int:
    said = text(name)
    if not said:
        return default
    try:
        value = int(said)
    except ValueError:
        raise ImproperlyConfigured(f"{name}={said!r} is not a whole number.") from None
    if value < minimum:
        raise ImproperlyConfigured(f"{name}={value} is below {minimum}.")
    return value


def folder(name: str, default: Path) -> Path:
    said = text(name)
    path = Path(said) if said else default
    if path.exists() and not path.is_dir():
        raise ImproperlyConfigured(f"{name}={said!r} is a file; a folder is wanted.")
    return path.resolve()


def site_url(name: str, default: str) -> str:
    """Return an absolute http(s) address without a trailing slash."""
    said = text(name, default)
    parts = urlsplit(said)
    if parts.scheme not in {"http", "https"} or not parts.netloc or parts.query:
        raise ImproperlyConfigured(
            f"{name}={said!r} is not an address such as https://lab.example."
        )
    return said.rstrip("/")


def choice(name: str, default: str, allowed: set[str]) -> str:
    said = text(name, default)
    if said not in allowed:
        raise ImproperlyConfigured(
            f"{name}={said!r} is none of {', '.join(sorted(allowed))}."
        )
    return said
