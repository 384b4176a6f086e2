"""``manage.py worker``: do the work that rows ask for, until told to stop."""

from __future__ import annotations

import sys
from argparse import ArgumentParser
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError

from lab.common import secret_key
from lab.common.running.parent import leave_with_parent
from lab.common.work.worker import FOLDER_TAKEN, FolderTaken, work


class Command(BaseCommand):
    """Start one worker process; ``serve`` starts one by itself."""

    help = (
        "Run a worker. `serve` starts one of its own; with REDIS_URL set, "
        "any number can run, on any machine that reaches the database and the files."
    )
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--threads", type=int, default=2)
        parser.add_argument(
            "--leave-with-parent",
            action="store_true",
            help="Stop when standard input ends: for whoever starts this process.",
        )

    def handle(self, *args: Any, **options: Any) -> None:
        if options["threads"] < 1:
            raise CommandError("A worker needs at least one thread.")
        if options["leave_with_parent"]:
            leave_with_parent()
        secret_key.ensure(settings.SECRET_KEY_FILE)
        try:
            code = work(threads=options["threads"])
        except FolderTaken as refusal:
            raise CommandError(str(refusal), returncode=FOLDER_TAKEN) from None
        if code:
            sys.exit(code)
