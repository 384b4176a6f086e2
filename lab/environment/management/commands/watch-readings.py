"""``manage.py watch-readings FOLDER --source NAME``: import what appears there."""  # noqa: N999

from __future__ import annotations

import time
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from lab.environment.models import ReadingSource
from lab.environment.watching import Watch


class Command(BaseCommand):
    """Import each finished file of a folder once, as its source is remembered."""

    help = (
        "Import files of readings that appear in a folder. The source must have been "
        "imported from once in the browser. Nothing is moved; a worker does the rest."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("folder", type=Path)
        parser.add_argument("--source", required=True, help="the source's name")
        parser.add_argument("--every", type=float, default=5.0, help="seconds")
        parser.add_argument("--looks", type=int, default=0, help="0: for ever")

    def handle(self, *args: Any, **options: Any) -> None:
        folder: Path = options["folder"]
        if not folder.is_dir():
            raise CommandError(f"There is no folder {folder}.")
        source = ReadingSource.objects.filter(name=options["source"]).first()
        if source is None or not source.layout_text:
            raise CommandError(
                f"Nothing is remembered of a source {options['source']!r}. Import one "
                "of its files in the browser first."
            )
        watch = Watch(folder, source, self.stdout.write)
        looks = 0
        try:
            while True:
                watch.look()
                looks += 1
                if looks == options["looks"]:
                    return
                time.sleep(options["every"])
        except KeyboardInterrupt:
            self.stdout.write("No longer watching.")
