"""Files of readings: taken in, confirmed, cancelled, and published whole or not."""

from __future__ import annotations

from datetime import timedelta

from lab.common import audit, clock
from lab.common.actors import Actor
from lab.common.errors import NotAcceptable, WrongState
from lab.common.files.models import StoredFile
from lab.common.services import service
from lab.common.texts import refuse_placeholder
from lab.common.work import enqueue
from lab.environment.logs.layout import TIME_FORMS, UNITS, Layout
from lab.environment.logs.report import Report
from lab.environment.logs.times import zone_named
from lab.environment.models import ReadingImport, ReadingSource
from lab.environment.noting import note_new_readings
from lab.environment.sensors import SENSORS
from lab.environment.staging import publish
from lab.environment.times import instant_of
from lab.equipment.models import Device
from lab.metrology.environment.packing import HOUR_US
from lab.metrology.errors import OutOfDomain

State = ReadingImport.State


class Overtaken(WrongState):
    """This run of an import no longer counts: it was cancelled or begun again."""


@service(may="environment.record")
def begin_import(
    *, file: StoredFile, name: str, source_name: str, acting_user: Actor
) -> ReadingImport:
    """Take a stored file of readings in, to be looked at and confirmed.

    Raises
    ------
    NotAcceptable
        If the source has no name.
    """
    named = refuse_placeholder(source_name, "source_name")
    source, _ = ReadingSource.objects.get_or_create(name=named[:80])
    made = ReadingImport.objects.create(
        file=file, source=source, name=name[:200], uploaded_by_id=acting_user.pk
    )
    audit.record(
        "import.begun",
        made,
        actor=acting_user,
        after={"source": source.name, "sha256": file.sha256, "size": file.size},
    )
    return made


@service(may="environment.record")
def confirm_import(
    *, reading_import: ReadingImport, layout: Layout, acting_user: Actor
) -> None:
    """Have a file read as a layout says, which its source is remembered by.

    Raises
    ------
    NotAcceptable
        If the layout leaves open what must be known.
    WrongState
        If the file was confirmed or cancelled already.
    """
    _require_whole(layout)
    text = layout.to_text()
    _move(reading_import, State.WANTED, layout_text=text, attempts=0, error="")
    ReadingSource.objects.filter(pk=reading_import.source_id).update(layout_text=text)
    enqueue("environment.import_readings", reading_import.pk)
    audit.record(
        "import.confirmed", reading_import, actor=acting_user, after={"layout": text}
    )


@service(may="environment.record")
def cancel_import(*, reading_import: ReadingImport, acting_user: Actor) -> None:
    """Let nothing of a file become part of the archive.

    Raises
    ------
    WrongState
        If it is imported already, or cancelled.
    """
    _move(reading_import, State.CANCELLED, finished_at=clock.now(), run="")
    # The stage of a run that was stopped is cleared in the background.
    enqueue("environment.import_readings", reading_import.pk)
    audit.record("import.cancelled", reading_import, actor=acting_user)


@service
def fail_import(
    *, reading_import: ReadingImport, error: str, report: Report, acting_user: Actor
) -> None:
    """Write down why a file can't be imported; nothing of it was kept."""
    _move(
        reading_import,
        State.FAILED,
        error=error,
        report_text=report.to_text(),
        finished_at=clock.now(),
        run="",
    )
    audit.record(
        "import.failed", reading_import, actor=acting_user, after={"error": error}
    )


@service
def publish_import(
    *,
    reading_import: ReadingImport,
    run: str,
    report: Report,
    known: int,
    acting_user: Actor,
) -> None:
    """Make all staged readings of a run part of the archive in one transaction.

    Raises
    ------
    Overtaken
        If the import was cancelled, or another run has taken it over.
    """
    mine = ReadingImport.objects.filter(
        pk=reading_import.pk, run=run, state=State.RUNNING
    )
    if mine.update(state=State.DONE, finished_at=clock.now()) != 1:
        raise Overtaken("This import was cancelled or begun again.")
    published = publish(reading_import, run)
    for stored in published.merged:
        for one in stored.conflicts:
            said = f"kept {one.kept:g}, refused {one.refused:g}"
            report.add("conflict", 0, instant_of(one.time_us).isoformat(), said)
    for sensor, first, last in published.spans:
        ends = instant_of(first * HOUR_US), instant_of((last + 1) * HOUR_US)
        note_new_readings(sensor, ends[0], ends[1] - timedelta(microseconds=1))
    counts = {
        "added": published.added,
        "known": known + published.known,
        "left_out": report.left_out,
        "rows_read": report.rows,
    }
    done = ReadingImport.objects.filter(pk=reading_import.pk)
    done.update(
        bytes_read=reading_import.file.size, report_text=report.to_text(), **counts
    )
    audit.record("readings.imported", reading_import, actor=acting_user, after=counts)


def _move(reading_import: ReadingImport, state: State, **changes: object) -> None:
    """Change the state by the table of transitions; another's change comes first."""
    before = ReadingImport.TRANSITIONS[state]
    rows = ReadingImport.objects.filter(pk=reading_import.pk, state__in=before)
    if rows.update(state=state, **changes) != 1:
        raise WrongState(
            f"“{reading_import.name}” is past that: look at how it stands now."
        )


def _require_whole(layout: Layout) -> None:
    if not layout.time_columns or layout.time_form not in TIME_FORMS:
        raise NotAcceptable(
            "Choose the column of the time and how it is written.", field="time_form"
        )
    try:
        zone_named(layout.zone or "UTC")
    except OutOfDomain as error:
        raise NotAcceptable(str(error), field="zone") from None
    if not layout.channels:
        raise NotAcceptable(
            "No column goes to a sensor yet. Choose a sensor for at least one."
        )
    _require_channels(layout)


def _require_channels(layout: Layout) -> None:
    seen: set[tuple[str, str]] = set()
    tags = {channel.sensor for channel in layout.channels}
    known = Device.objects.filter(tag__in=tags, kind__in=SENSORS)
    missing = tags - set(known.values_list("tag", flat=True))
    if missing:
        raise NotAcceptable(f"{', '.join(sorted(missing))} is no sensor of the lab.")
    for channel in layout.channels:
        name = layout.name_of(channel.column)
        if channel.unit not in UNITS.get(channel.quantity, ()):
            raise NotAcceptable(f"{name}: {channel.quantity} is not in {channel.unit}.")
        if (channel.sensor, channel.quantity) in seen:
            raise NotAcceptable(
                f"Two columns are given as the {channel.quantity} of {channel.sensor}. "
                "A sensor has one of each."
            )
        seen.add((channel.sensor, channel.quantity))
