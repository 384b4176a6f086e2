"""The background work of an import: read, stage, publish; safe to begin again.

A run that dies leaves a stage that nobody sees; the next run begins from the first
row with a stage of its own. A run that finds that it was cancelled or overtaken stops.
"""

from __future__ import annotations

import secrets
from typing import IO, Final

from django.db.models import F

from lab.common import clock
from lab.common.actors import PROGRAM
from lab.common.files.store import FileDamaged, open_file
from lab.environment.logs.guessing import SAMPLE, Guess, Wish, guess
from lab.environment.logs.walking import Walk
from lab.environment.models import ReadingImport
from lab.environment.sensors import SENSORS
from lab.environment.services.imports import Overtaken, fail_import, publish_import
from lab.environment.staging import Stage, clear_stage
from lab.environment.times import us_of
from lab.equipment.models import Device
from lab.laboratory.selectors import home_zone
from lab.metrology.errors import MetrologyError

State = ReadingImport.State
#: After so many runs that ended without a word an import counts as failed.
MOST_RUNS: Final = 15


def import_readings(import_id: int) -> None:
    """Read a confirmed file and publish it. Running it again changes nothing."""
    wanted = ReadingImport.objects.select_related("file").get(pk=import_id)
    run = secrets.token_hex(8)
    claimed = ReadingImport.objects.filter(
        pk=import_id, state__in=ReadingImport.TRANSITIONS[State.RUNNING]
    ).update(state=State.RUNNING, run=run, attempts=F("attempts") + 1)
    clear_stage(wanted, but=run)
    if claimed != 1:
        return
    if wanted.layout is None:
        raise ValueError(f"Import {import_id} was wanted without a layout.")
    walk = Walk(wanted.layout, us_of(clock.now() + clock.TOLERATED_FUTURE))
    if wanted.attempts >= MOST_RUNS:
        _fail(wanted, walk, f"Reading it ended {MOST_RUNS} times without a word.")
        return
    try:
        _read_and_publish(wanted, run, walk)
    except Overtaken:
        pass
    except (MetrologyError, FileDamaged) as error:
        _fail(wanted, walk, str(error))
    clear_stage(wanted)


def _fail(wanted: ReadingImport, walk: Walk, error: str) -> None:
    fail_import(
        reading_import=wanted, error=error, report=walk.report, acting_user=PROGRAM
    )


def _read_and_publish(wanted: ReadingImport, run: str, walk: Walk) -> None:
    tags = [channel.sensor for channel in walk.layout.channels]
    sensors = {one.tag: one for one in Device.objects.filter(tag__in=tags)}
    stage = Stage(wanted, run, walk.report, sensors)
    with open_file(wanted.file) as stream:
        for series in walk.bites(stream):
            for one in series:
                stage.add(one, walk.layout.name_of(one.channel.column))
            _tell_progress(wanted, run, stream, walk.report.rows)
    if stage.known:
        walk.report.counts["known"] += stage.known
    publish_import(
        reading_import=wanted,
        run=run,
        report=walk.report,
        known=stage.known,
        acting_user=PROGRAM,
    )


def _tell_progress(
    wanted: ReadingImport, run: str, stream: IO[bytes], rows: int
) -> None:
    mine = ReadingImport.objects.filter(pk=wanted.pk, run=run, state=State.RUNNING)
    if mine.update(bytes_read=stream.tell(), rows_read=rows) != 1:
        raise Overtaken("This import was cancelled or begun again.")


def guess_of(reading_import: ReadingImport, wish: Wish | None = None) -> Guess:
    """Look at an import's file.

    Raises
    ------
    BadShape
        If it has no rows of readings.
    """
    with open_file(reading_import.file) as stream:
        head = stream.read(SAMPLE)
        tail = b""
        if reading_import.file.size > SAMPLE:
            stream.seek(max(SAMPLE, reading_import.file.size - SAMPLE))
            tail = stream.read()
    tags = Device.objects.filter(kind__in=SENSORS).values_list("tag", flat=True)
    return guess(head, tail, zone=str(home_zone()), sensors=list(tags), wish=wish)
