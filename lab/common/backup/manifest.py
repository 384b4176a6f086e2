"""What a backup says of itself: every part by its hash, and where the chain stood."""

from __future__ import annotations

import json
import re
from dataclasses import asdict, dataclass
from typing import Any, Final, NoReturn

from lab.common.errors import DomainError
from lab.common.jsontext import canonical_bytes

SCHEMA: Final = 1
MANIFEST: Final = "manifest.json"
RECORDS: Final = "records/"
#: A manifest is a few hundred bytes a file; a longer one is no manifest.
LONGEST: Final = 512 * 1024 * 1024
_DATABASE_NAMES: Final = {"sqlite": "database.sqlite3", "postgresql": "database.pgdump"}
_RECORD = re.compile(r"records/([0-9a-f]{2})/([0-9a-f]{2})/(\1\2[0-9a-f]{60})")
_DIGEST = re.compile(r"[0-9a-f]{64}")


class BackupRefused(DomainError):
    """A backup can't be made here, or restored from this."""


@dataclass(frozen=True, slots=True)
class Part:
    """One file of a backup."""

    name: str
    sha256: str
    size: int


@dataclass(frozen=True, slots=True)
class Manifest:
    """The contents of a backup.

    ``missing`` names stored files that were gone or damaged already when the backup
    was made; ``migrations`` is every migration that its database had.
    """

    made_at: str
    vendor: str
    database: Part
    records: tuple[Part, ...]
    missing: tuple[str, ...]
    audit_head: str
    audit_sealed: int
    migrations: tuple[tuple[str, str], ...]

    @property
    def parts(self) -> tuple[Part, ...]:
        return (self.database, *self.records)

    def as_bytes(self) -> bytes:
        return canonical_bytes({"schema": SCHEMA, **asdict(self)})


def database_name(vendor: str) -> str:
    """Return what the database is called in a backup."""
    return _DATABASE_NAMES[vendor]


def record_name(path: str) -> str:
    """Return what a stored file is called in a backup."""
    return f"{RECORDS}{path}"


def read_manifest(blob: bytes) -> Manifest:
    """Read a manifest and believe none of it: every name could lead elsewhere.

    Raises
    ------
    BackupRefused
        If it is no manifest that this version reads, or names what no backup holds.
    """
    try:
        content = json.loads(blob)
        schema = content.pop("schema")
    except (ValueError, KeyError, TypeError, AttributeError):
        _refuse("it can't be read")
    if schema != SCHEMA:
        _refuse(f"it has schema {schema}, and this version reads schema {SCHEMA}")
    try:
        manifest = _from_json(content)
    except (TypeError, KeyError, ValueError):
        _refuse("a part of it is missing or of the wrong kind")
    _require_our_names(manifest)
    return manifest


def _from_json(content: dict[str, Any]) -> Manifest:
    return Manifest(
        **content
        | {
            "database": Part(**content["database"]),
            "records": tuple(Part(**part) for part in content["records"]),
            "missing": tuple(str(sha256) for sha256 in content["missing"]),
            "audit_sealed": int(content["audit_sealed"]),
            "migrations": tuple((app, name) for app, name in content["migrations"]),
        }
    )


def _require_our_names(manifest: Manifest) -> None:
    if manifest.database.name != _DATABASE_NAMES.get(manifest.vendor):
        _refuse(f"{manifest.database.name} is no database of {manifest.vendor}")
    for part in manifest.records:
        named = _RECORD.fullmatch(part.name)
        if named is None or named[3] != part.sha256:
            _refuse(f"{part.name!r} is not the name of a stored file")
    for part in manifest.parts:
        if not _DIGEST.fullmatch(part.sha256) or part.size < 0:
            _refuse(f"what it says of {part.name} can't be")
    if len({part.name for part in manifest.parts}) != len(manifest.parts):
        _refuse("it names a file twice")


def _refuse(reason: str) -> NoReturn:
    raise BackupRefused(f"The backup's {MANIFEST} can't be trusted: {reason}.")
