"""``manage.py restore``: a backup into an empty installation, verified whole."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from lab.common.backup.manifest import BackupRefused
from lab.common.backup.restoring import restore_backup


class Command(BaseCommand):
    """Restore a backup and say whether all of it is as it was."""

    help = (
        "Restore a backup into this installation, which must be empty. Every hash is "
        "verified before anything is written, and the audit chain after."
    )
    requires_system_checks = []

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("source", metavar="SOURCE", type=Path)
        parser.add_argument(
            "--digest",
            default="",
            help="the digest of the manifest that was printed when it was made",
        )

    def handle(self, *, source: Path, digest: str, **options: Any) -> None:
        try:
            restored = restore_backup(source, expected_digest=digest)
        except BackupRefused as refusal:
            raise CommandError(refusal.sentence) from None
        manifest = restored.manifest
        self.stdout.write(
            f"Restored from {source}, made {manifest.made_at}: the {manifest.vendor} "
            f"database and {len(manifest.records)} files."
        )
        self.stdout.write(
            f"Audit chain: {manifest.audit_sealed} entries, head {manifest.audit_head}"
        )
        self.stdout.write(f"Digest of the manifest: {restored.digest}")
        if restored.faults:
            raise CommandError(
                "The backup is restored, and this is wrong with it:\n  "
                + "\n  ".join(restored.faults)
            )
        self.stdout.write(
            "Every hash, the audit chain and the fences are as they should be. Mail "
            "that was waiting will be sent as soon as a worker runs here."
        )
