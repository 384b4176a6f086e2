"""``manage.py serve``: everything that one lab needs, in one command."""

from __future__ import annotations

from argparse import ArgumentParser
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError

from lab.common.running import demo
from lab.common.running.prepare import FencesDown, prepare
from lab.common.running.web import AddressTaken, serve


class Command(BaseCommand):
    """Bring the installation up to date, serve its pages and do its work."""

    help = "Migrate, collect static files, serve the pages and run a worker."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--host", default="127.0.0.1")
        parser.add_argument("--port", type=int, default=8000)
        parser.add_argument("--threads", type=int, default=8)
        parser.add_argument(
            "--no-worker",
            action="store_true",
            help="Where workers are started by themselves (needs REDIS_URL).",
        )

    def handle(self, *args: Any, **options: Any) -> None:
        if settings.DEMO and not demo.is_filled():
            raise CommandError(
                "UNBROKEN_DEMO is set, and this database is no demo's: its clock "
                "could be set. Unset it, or run `manage.py demo`."
            )
        try:
            prepare(self.stdout)
            serve(
                host=options["host"],
                port=options["port"],
                threads=options["threads"],
                worker=not options["no_worker"],
                ready=self.announce,
            )
        except (AddressTaken, FencesDown) as refusal:
            raise CommandError(str(refusal)) from None
        self.stdout.write("Stopped.")

    def announce(self, address: str) -> None:
        self.stdout.write(f"Unbroken is at {address} – Ctrl-C stops it.")
        self.stdout.flush()
