"""Make a backup: database and files of one moment, while the lab works on."""

from __future__ import annotations

import io
import tempfile
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from django.conf import settings
from django.db import connection

from lab.common import audit, clock
from lab.common.backup.databases import Snapshot, snapshot
from lab.common.backup.manifest import (
    MANIFEST,
    BackupRefused,
    Manifest,
    Part,
    database_name,
    record_name,
)
from lab.common.backup.places import Place, new_place
from lab.common.files.models import StoredFile
from lab.common.files.store import FileDamaged, open_verified
from lab.common.jsontext import sha256_hex

STAMP: Final = "%Y-%m-%dT%H:%M:%SZ"


@dataclass(frozen=True, slots=True)
class Made:
    """A backup that was made, and the hash of its manifest, which covers it whole."""

    manifest: Manifest
    digest: str


def make_backup(target: Path) -> Made:
    """Write a backup to a new folder or ``.zip`` file.

    The database comes first. A stored file is complete before its row and is never
    changed or removed after, so whatever the copied rows name is there to be copied.
    A file that is missing or damaged is left out and named in the manifest: a backup
    with a hole is better than none, as long as it says so.

    Raises
    ------
    BackupRefused
        If ``target`` exists or lies among the stored files, if the database is empty
        or damaged, or if PostgreSQL's programs are missing or fail.
    """
    _refuse_among_records(target)
    _require_tables()
    audit.seal_all()
    target.parent.mkdir(parents=True, exist_ok=True)
    with (
        # Beside the target, where there must be room for the database anyhow.
        tempfile.TemporaryDirectory(prefix=".backup-", dir=target.parent) as working,
        snapshot(Path(working)) as copied,
        new_place(target) as place,
    ):
        manifest = _write(copied, place)
        blob = manifest.as_bytes()
        place.add(MANIFEST, io.BytesIO(blob))
    return Made(manifest, sha256_hex(blob))


def _write(copied: Snapshot, place: Place) -> Manifest:
    with copied.path.open("rb") as stream:
        database = place.add(database_name(connection.vendor), stream)
    records, missing = list[Part](), list[str]()
    for sha256 in copied.stored:
        part = _copy_record(sha256, place)
        if part is None:
            missing.append(sha256)
        else:
            records.append(part)
    return Manifest(
        made_at=clock.now().strftime(STAMP),
        vendor=connection.vendor,
        database=database,
        records=tuple(records),
        missing=tuple(missing),
        audit_head=copied.audit_head,
        audit_sealed=copied.audit_sealed,
        migrations=copied.migrations,
    )


def _copy_record(sha256: str, place: Place) -> Part | None:
    stored = StoredFile(sha256=sha256, original_name=sha256)
    try:
        stream = open_verified(stored)
    except FileDamaged:
        return None
    with stream:
        return place.add(record_name(stored.path), stream)


def _require_tables() -> None:
    if StoredFile._meta.db_table not in connection.introspection.table_names():
        name = connection.settings_dict["NAME"]
        raise BackupRefused(
            f"The database {name} holds no installation yet: there is nothing to back "
            "up. See that UNBROKEN_DATA or DATABASE_URL names the one you meant."
        )


def _refuse_among_records(target: Path) -> None:
    records = (settings.DATA_DIR / "records").resolve()
    if target.resolve().is_relative_to(records):
        raise BackupRefused(
            f"{target} lies among the files to be backed up. Name a place elsewhere, "
            "best on another disk."
        )
