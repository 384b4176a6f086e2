"""``manage.py backup``: database and files in one place, while the lab works on."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from lab.common.backup.making import make_backup
from lab.common.backup.manifest import BackupRefused


class Command(BaseCommand):
    """Write a backup and say what is in it."""

    help = (
        "Write the database and all stored files to a new folder or .zip file, with a "
        "manifest of hashes. Others may go on working meanwhile."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("target", metavar="TARGET", type=Path)

    def handle(self, *, target: Path, **options: Any) -> None:
        try:
            made = make_backup(target)
        except BackupRefused as refusal:
            raise CommandError(refusal.sentence) from None
        manifest = made.manifest
        mega = sum(part.size for part in manifest.parts) / 1e6
        self.stdout.write(
            f"Backed up to {target}: the {manifest.vendor} database and "
            f"{len(manifest.records)} files, {mega:.1f} MB before packing."
        )
        self.stdout.write(
            f"Audit chain: {manifest.audit_sealed} entries, head {manifest.audit_head}"
        )
        self.stdout.write(f"Digest of the manifest: {made.digest}")
        self.stdout.write(
            "Keep the digest apart from the backup: it tells whether anything was "
            "changed. The secret key is not in it; a new one is made where it is "
            "restored, and everybody signs in again."
        )
        if manifest.missing:
            raise CommandError(
                f"{len(manifest.missing)} stored files were missing or damaged before "
                "this backup, which is without them: " + ", ".join(manifest.missing)
            )
