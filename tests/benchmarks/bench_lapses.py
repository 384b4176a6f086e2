"""What one more check costs in an archive, judging all of it, and its pages.

``DATABASE_URL`` names an empty PostgreSQL database; without it the run is on SQLite
in a temporary folder. ``--tiny`` shows in seconds that it runs.
"""

from __future__ import annotations

import os
import statistics
import sys
import tempfile
import time

say = sys.stdout.write
#: Turns of two checks and four sessions each: 2,000 sessions, then 200,000.
TURNS = (500, 50_000)
TINY = (5, 40)


def main(*, tiny: bool) -> int:
    os.environ.setdefault("UNBROKEN_DATA", tempfile.mkdtemp())
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "lab.settings")
    import django

    django.setup()
    from django.conf import settings
    from django.core.management import call_command
    from django.test.utils import setup_test_environment

    setup_test_environment()
    # The clock stands still in tests and demos only.
    settings.CLOCK_SETTABLE = True
    settings.STORAGES["staticfiles"] = {
        "BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"
    }
    call_command("migrate", verbosity=0)
    from lab.common import clock
    from lab.common.work.running import work_off
    from tests.archive import Archive
    from tests.chain import at, check, found_lab, measured_job
    from tests.conftest import hire

    lab = found_lab(hire())
    opening = check(lab, at(6, 30))
    job, _ = measured_job(lab)
    with clock.set_to(at(12)):
        work_off()
    archive = Archive(lab, job, opening)
    archive.prepare()
    small, large = TINY if tiny else TURNS
    begun = time.perf_counter()
    archive.write(0, small)
    few = one_more_check(lab, days=1, events=3 if tiny else 9)
    archive.write(small, large)
    many = one_more_check(lab, days=30, events=3 if tiny else 9)
    say(
        f"{large * 4} sessions, {large * 2} checks, written and warmed in "
        f"{time.perf_counter() - begun:.0f} s\n"
        f"one more check, its findings and holds: {few * 1e3:.1f} ms among "
        f"{small * 4} sessions, {many * 1e3:.1f} ms among {large * 4}, ratio "
        f"{many / few:.2f} (under 2)\n"
    )
    with clock.set_to(at(12, days=50)):
        judge_everything(large * 4)
        open_pages(lab)
    return 1 if many / few >= 2 and not tiny else 0


def one_more_check(lab: object, *, days: int, events: int) -> float:
    """Return the median time of a check that failed, with its findings and holds."""
    from lab.common import clock
    from lab.common.work.running import work_off
    from lab.jobs.services import end_session
    from lab.lapses.models import Finding
    from tests.chain import at, check, ready_job, start

    spent = []
    for number in range(events):
        day = days + number
        check(lab, at(8, days=day))  # type: ignore[arg-type]
        with clock.set_to(at(9, days=day)):
            job = ready_job(lab, serials=[f"RR-1-{day}"])  # type: ignore[arg-type]
            session = start(lab, job, at=at(9, days=day))  # type: ignore[arg-type]
        with clock.set_to(at(10, days=day)):
            end_session(
                session=session,
                at=at(10, days=day),
                acting_user=lab.people.technician,  # type: ignore[attr-defined]
            )
            work_off()
        before = Finding.objects.count()
        begun = time.perf_counter()
        check(lab, at(11, days=day), off_um=90)  # type: ignore[arg-type]
        with clock.set_to(at(11, days=day)):
            work_off()
        spent.append(time.perf_counter() - begun)
        if Finding.objects.count() == before:
            raise SystemExit("The check that failed made nothing suspect.")
    return statistics.median(spent)


def judge_everything(count: int) -> None:
    """Say how fast everything is judged from all records."""
    from lab.common import clock
    from lab.lapses.archive import differences

    begun = time.perf_counter()
    found = sum(1 for _ in differences(clock.now()))
    spent = time.perf_counter() - begun
    say(
        f"all judged from all records and compared: {spent:.1f} s, "
        f"{count / spent:.0f} sessions a second, {found} differ\n"
    )


def open_pages(lab: object) -> None:
    """Say how many queries and how long each page takes."""
    from tests.archive_pages import MOST_QUERIES, pages_of, queries_and_time

    for address in pages_of(lab):  # type: ignore[arg-type]
        count, spent = queries_and_time(lab, address)  # type: ignore[arg-type]
        mark = f" (more than {MOST_QUERIES})" if count > MOST_QUERIES else ""
        say(f"{address}: {count} queries{mark}, {spent * 1e3:.0f} ms\n")


if __name__ == "__main__":
    sys.exit(main(tiny="--tiny" in sys.argv))
