"""Restore a backup into an empty installation, and find out that it is the same."""

from __future__ import annotations

import shutil
import tempfile
from dataclasses import dataclass
from pathlib import Path

from django.conf import settings
from django.core.files.base import File
from django.core.management import call_command
from django.db import connection
from django.db.migrations.loader import MigrationLoader

from lab.common import audit, fences
from lab.common.backup.databases import put_back, require_empty
from lab.common.backup.manifest import (
    LONGEST,
    MANIFEST,
    RECORDS,
    BackupRefused,
    Manifest,
    read_manifest,
)
from lab.common.backup.places import Place, existing_place
from lab.common.files.models import StoredFile
from lab.common.files.store import records
from lab.common.jsontext import sha256_hex


@dataclass(frozen=True, slots=True)
class Restored:
    """What was restored, and whatever about it is not as it should be."""

    manifest: Manifest
    digest: str
    faults: tuple[str, ...]


def restore_backup(source: Path, *, expected_digest: str = "") -> Restored:
    """Restore a backup; nothing is written before all of it is found unchanged.

    Raises
    ------
    BackupRefused
        If the installation is not empty, or the backup is damaged, incomplete, of
        another database, of a newer version, or has another digest than expected.
    """
    require_empty()
    _require_no_records()
    with existing_place(source) as place:
        blob = place.read(MANIFEST, LONGEST)
        digest = sha256_hex(blob)
        if expected_digest and digest != expected_digest.lower():
            raise BackupRefused(
                f"The manifest has the digest {digest}, not the one that was expected. "
                "This is another backup, or it was changed."
            )
        manifest = read_manifest(blob)
        _require_fitting(manifest)
        _verify_whole(manifest, place)
        _write(manifest, place)
    # Brings an older backup up to this version; its end puts up the fences.
    call_command("migrate", interactive=False, verbosity=0)
    return Restored(manifest, digest, tuple(_faults(manifest)))


def _require_no_records() -> None:
    try:
        lying_here = any(records().listdir(""))
    except FileNotFoundError:
        return
    if lying_here:
        raise BackupRefused(
            "There are stored files here already, and a backup is restored into an "
            "empty installation only. Name another place by UNBROKEN_DATA."
        )


def _require_fitting(manifest: Manifest) -> None:
    if manifest.vendor != connection.vendor:
        raise BackupRefused(
            f"The backup is of a {manifest.vendor} database and this installation has "
            f"a {connection.vendor} one. Set DATABASE_URL to one of the same sort, or "
            "leave it out for SQLite."
        )
    loader = MigrationLoader(None, ignore_no_migrations=True)
    known = {*loader.disk_migrations}
    for migration in loader.disk_migrations.values():
        known.update(migration.replaces)
    newer = sorted(set(manifest.migrations) - known)
    if newer:
        raise BackupRefused(
            f"The backup is from a newer version: {'.'.join(newer[0])} is unknown "
            "here. Install that version or a later one."
        )


def _verify_whole(manifest: Manifest, place: Place) -> None:
    named = {MANIFEST, *(part.name for part in manifest.parts)}
    strangers = sorted(place.names() - named)
    if strangers:
        raise BackupRefused(
            f"The backup holds {strangers[0]!r}, which its manifest doesn't name. "
            "Nothing was restored; find out who put it there."
        )
    for part in manifest.parts:
        place.verify(part)


def _write(manifest: Manifest, place: Place) -> None:
    storage = records()
    for part in manifest.records:
        with place.open(part.name) as stream:
            storage.save(part.name.removeprefix(RECORDS), File(stream))
    settings.DATA_DIR.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory(prefix=".restore-", dir=settings.DATA_DIR) as (
        working
    ):
        path = Path(working, "database")
        with place.open(manifest.database.name) as stream, path.open("wb") as copy:
            shutil.copyfileobj(stream, copy)
        put_back(path)


def _faults(manifest: Manifest) -> list[str]:
    """Look at what now stands here, as a stranger would."""
    found = audit.verify()
    faults = list(found.faults)
    if (found.sealed, found.head) != (manifest.audit_sealed, manifest.audit_head):
        faults.append(
            f"The audit chain ends at {found.head[:16]} after {found.sealed} entries; "
            f"the manifest says {manifest.audit_head[:16]} after "
            f"{manifest.audit_sealed}."
        )
    faults += [f"The fence {name} is missing." for name in fences.missing(connection)]
    rows = set(StoredFile.objects.values_list("sha256", flat=True))
    kept = {part.sha256 for part in manifest.records}
    faults += [
        f"The stored file {sha256} is missing." for sha256 in sorted(rows - kept)
    ]
    faults += [f"No row names the file {sha256}." for sha256 in sorted(kept - rows)]
    audit.seal_all()  # what had been written but not yet sealed at that moment
    return faults
