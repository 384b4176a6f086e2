"""``manage.py judge-all``: every session judged from all records, and compared."""  # noqa: N999

from __future__ import annotations

import time
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from lab.common import clock
from lab.common.actors import PROGRAM
from lab.jobs.models import MeasuringSession
from lab.lapses.archive import differences
from lab.lapses.services import judge_session_by_id


class Command(BaseCommand):
    """Say where the stored judgements differ; with --write, judge those again."""

    help = (
        "Judge every session from all records and list where something else is "
        "stored. With --write, judge those sessions again; no finding is taken back."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--write", action="store_true")

    def handle(self, *, write: bool, **options: Any) -> None:
        count = MeasuringSession.objects.count()
        begun = time.perf_counter()
        found = list(differences(clock.now()))
        spent = time.perf_counter() - begun
        for one in found:
            missing = f"; not stored: {', '.join(sorted(one.missing))}"
            self.stdout.write(
                f"Session {one.session}: stored {one.stored}, found {one.found}"
                + (missing if one.missing else "")
            )
        rate = count / spent if spent else 0
        self.stdout.write(
            f"{count} sessions judged in {spent:.1f} s ({rate:.0f} a second), "
            f"{len(found)} differ."
        )
        if write:
            for one in found:
                judge_session_by_id(session_id=one.session, acting_user=PROGRAM)
            self.stdout.write(f"{len(found)} judged again.")
        elif found:
            raise CommandError("Judge them again with --write.")
