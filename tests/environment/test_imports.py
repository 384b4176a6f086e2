"""Files become part of the archive whole or not at all, and once."""

from __future__ import annotations

import io
import itertools
from contextlib import suppress
from dataclasses import replace
from datetime import UTC, datetime
from typing import Any

import numpy as np
import pytest

from lab.common import clock
from lab.common.errors import NotAcceptable, WrongState
from lab.common.files.store import store_file
from lab.common.models import AuditEntry
from lab.common.work import queue
from lab.common.work.models import WorkItem
from lab.common.work.running import work_off
from lab.environment import importing, staging
from lab.environment.importing import guess_of, import_readings
from lab.environment.logs import walking
from lab.environment.models import ReadingHour, ReadingImport, StagedHour
from lab.environment.selectors import readings
from lab.environment.services import (
    begin_import,
    cancel_import,
    confirm_import,
    store_readings,
)
from lab.environment.times import us_of
from tests.environment.conftest import at, make_device

pytestmark = pytest.mark.django_db
State = ReadingImport.State
LONG_AGO, LATER = datetime(2010, 1, 1, tzinfo=UTC), datetime(2026, 4, 1, tzinfo=UTC)


@pytest.fixture(autouse=True)
def evening() -> Any:
    with clock.set_to(at(23)):
        yield


@pytest.fixture
def begin(people, logger) -> Any:
    """Return what takes a text in as a file and returns its import."""

    def make(text: str | bytes, source: str = "Long Room") -> ReadingImport:
        blob = text.encode() if isinstance(text, str) else text
        stored = store_file(io.BytesIO(blob), name="log.csv", kind="readings")
        return begin_import(
            file=stored,
            name="log.csv",
            source_name=source,
            acting_user=people.technician,
        )

    return make


@pytest.fixture
def confirm(people) -> Any:
    """Return what confirms an import as guessed, in UTC, all channels to LG-1."""

    def do(one: ReadingImport, *columns: int, **changes: Any) -> None:
        layout = guess_of(one).layout
        channels = tuple(
            replace(channel, sensor=channel.sensor or "LG-1")
            for channel in layout.channels
            if not columns or channel.column in columns
        )
        layout = replace(layout, **{"channels": channels, "zone": "UTC"} | changes)
        confirm_import(reading_import=one, layout=layout, acting_user=people.technician)

    return do


def lines(count: int, start: datetime | None = None, step_s: int = 60) -> str:
    """Return a file of readings that climb by a hundredth."""
    begun = us_of(start or at(0)) // 10**6
    rows = (
        f"{datetime.fromtimestamp(begun + n * step_s, UTC):%Y-%m-%d %H:%M:%S},"
        f"{20 + n % 400 / 100:.2f}"
        for n in range(count)
    )
    return "time,temperature °C\n" + "\n".join(rows) + "\n"


def all_of(sensor: Any, quantity: str = "temperature") -> tuple[Any, Any]:
    return readings(sensor, quantity, LONG_AGO, LATER)


def test_a_confirmed_file_is_read_in_the_background(begin, confirm, logger) -> None:
    one = begin(lines(600))
    confirm(one)
    assert not ReadingHour.objects.exists()
    work_off()
    one.refresh_from_db()
    assert (one.state, one.added, one.known, one.left_out) == (State.DONE, 600, 0, 0)
    assert (one.percent, one.rows_read) == (100, 600)
    times, values = all_of(logger)
    assert len(times) == 600
    assert values[:3].tolist() == [20.0, 20.01, 20.02]
    assert one.report.rhythm["usual_s"] == "60"
    assert not StagedHour.objects.exists()
    assert AuditEntry.objects.filter(verb="readings.imported").count() == 1
    assert one.source.layout is not None


def test_the_same_file_twice_adds_nothing(begin, confirm, logger) -> None:
    for _ in range(2):
        one = begin(lines(600))
        confirm(one)
        work_off()
    one.refresh_from_db()
    assert (one.state, one.added, one.known) == (State.DONE, 0, 600)
    assert len(all_of(logger)[0]) == 600


def test_small_bites_and_interleaved_hours_come_together(
    begin, confirm, logger, monkeypatch
) -> None:
    monkeypatch.setattr(walking, "BITE", 7)
    text = lines(120).splitlines()
    shuffled = [text[0], *sorted(text[1:], key=lambda row: row[-1])]
    one = begin("\n".join(shuffled))
    confirm(one)
    work_off()
    one.refresh_from_db()
    assert (one.state, one.added) == (State.DONE, 120)
    assert one.report.counts["backward"] > 5
    assert all_of(logger)[1].tolist() == [20 + n / 100 for n in range(120)]


def test_what_is_kept_is_never_overwritten(begin, confirm, logger, people) -> None:
    store_readings(
        sensor=logger,
        quantity="temperature",
        times_us=[us_of(at(0, 1)), us_of(at(0, 2))],
        values=[20.01, 25.0],
        source="the endpoint",
        acting_user=people.technician,
    )
    one = begin(lines(5) + "2026-03-17 00:03:00,20.03\n2026-03-17 00:04:00,29\n")
    confirm(one)
    work_off()
    one.refresh_from_db()
    assert (one.added, one.known, one.left_out) == (3, 1, 2)
    assert one.report.counts == {
        "known": 1,
        "repeated": 1,
        "conflict": 2,
        "backward": 1,
    }
    told = {(f.kind, f.row, f.text) for f in one.report.findings}
    assert ("conflict", 4, "kept 25, refused 20.02") in told
    assert ("conflict", 8, "kept 20.04, refused 29") in told
    assert ("repeated", 7, "20.03") in told
    assert all_of(logger)[1].tolist() == [20.0, 20.01, 25.0, 20.03, 20.04]


def test_readings_that_came_meanwhile_are_merged(
    begin, confirm, logger, people, monkeypatch
) -> None:
    one = begin(lines(90))
    confirm(one)

    def meanwhile(*args: Any) -> Any:
        store_readings(
            sensor=logger,
            quantity="temperature",
            times_us=[us_of(at(0, 1)), us_of(at(0, 2)), us_of(at(3))],
            values=[20.01, 25.0, 21.0],
            source="the endpoint",
            acting_user=people.technician,
        )
        return published(*args)

    published = staging.publish
    monkeypatch.setattr("lab.environment.services.imports.publish", meanwhile)
    work_off()
    one.refresh_from_db()
    assert (one.added, one.known, one.left_out) == (88, 1, 1)
    times, values = all_of(logger)
    assert len(times) == 91
    assert values[2] == 25.0


class Killed(BaseException):
    """The worker is gone, without a word."""


@pytest.mark.parametrize("tenth", range(1, 11))
def test_a_killed_import_leaves_nothing_and_is_done_once(
    begin, confirm, logger, monkeypatch, tenth
) -> None:
    monkeypatch.setattr(walking, "BITE", 100)
    one = begin(lines(1000))
    confirm(one)
    told = []
    progress = importing._tell_progress

    def dies(*args: Any) -> None:
        progress(*args)
        told.append(args)
        if len(told) == tenth:
            raise Killed

    monkeypatch.setattr(importing, "_tell_progress", dies)
    with suppress(Killed):
        work_off()
    one.refresh_from_db()
    assert (one.state, one.rows_read) == (State.RUNNING, 100 * tenth)
    assert not ReadingHour.objects.exists()
    assert queue.give_back_all_running() == 1
    with clock.set_to(at(23, 30)):
        work_off()
    one.refresh_from_db()
    assert (one.state, one.added) == (State.DONE, 1000)
    assert len(all_of(logger)[0]) == 1000
    assert not StagedHour.objects.exists()


def test_a_cancelled_import_leaves_nothing(
    begin, confirm, logger, people, monkeypatch
) -> None:
    monkeypatch.setattr(walking, "BITE", 100)
    one = begin(lines(1000))
    confirm(one)
    progress = importing._tell_progress

    def cancelled(*args: Any) -> None:
        if args[3] == 500:
            cancel_import(reading_import=one, acting_user=people.technician)
        progress(*args)

    monkeypatch.setattr(importing, "_tell_progress", cancelled)
    work_off()
    one.refresh_from_db()
    assert one.state == State.CANCELLED
    assert not ReadingHour.objects.exists()
    assert not StagedHour.objects.exists()
    assert not WorkItem.objects.filter(state="failed").exists()
    with pytest.raises(WrongState):
        confirm(one)


def test_a_run_that_was_overtaken_publishes_nothing(
    begin, confirm, logger, monkeypatch
) -> None:
    one = begin(lines(100))
    confirm(one)
    publish = importing.publish_import

    def overtaken(**given: Any) -> None:
        ReadingImport.objects.filter(pk=one.pk).update(run="another")
        publish(**given)

    monkeypatch.setattr(importing, "publish_import", overtaken)
    import_readings(one.pk)
    assert not ReadingHour.objects.exists()
    monkeypatch.undo()
    import_readings(one.pk)
    assert len(all_of(logger)[0]) == 100
    import_readings(one.pk)  # once more does nothing
    assert len(all_of(logger)[0]) == 100


def test_a_file_that_breaks_off_fails_with_a_sentence(begin, confirm, logger) -> None:
    one = begin(lines(10) + '2026-03-18 00:00:00,"' + "x\n" * 200_000)
    confirm(one)
    work_off()
    one.refresh_from_db()
    assert one.state == State.FAILED
    assert "quotation mark" in one.error
    assert not ReadingHour.objects.exists()


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"time_form": ""}, "how it is written"),
        ({"time_columns": ()}, "how it is written"),
        ({"zone": "Port/Ennis"}, "no time zone"),
        ({"channels": ()}, "No column"),
        ({"tag": "TR-1"}, "no sensor"),
        ({"unit": "%"}, "not in %"),
        ({"twice": True}, "Two columns"),
    ],
)
def test_what_must_be_known_is_asked_for(begin, people, changes, said) -> None:
    one = begin(lines(3))
    layout = guess_of(one).layout
    channel = replace(layout.channels[0], sensor=changes.pop("tag", "LG-1"))
    channel = replace(channel, unit=changes.pop("unit", channel.unit))
    channels = (channel,) * (2 if changes.pop("twice", False) else 1)
    layout = replace(layout, **{"channels": channels} | changes)
    with pytest.raises(NotAcceptable, match=said):
        confirm_import(reading_import=one, layout=layout, acting_user=people.technician)


# --- Real files -----------------------------------------------------------------------


def test_office_air_in_fahrenheit(begin, confirm, logger, shared_data) -> None:
    path = shared_data("env/nab_ambient_temperature_office.csv")
    rows = [row.split(",") for row in path.read_text().splitlines()[1:]]
    one = begin(path.read_bytes())
    confirm(one)
    work_off()
    one.refresh_from_db()
    by_time = {when: float(value) for when, value in rows}
    assert one.added == len(by_time) == len(rows)
    assert one.layout.channels[0].unit == "°F"
    expected = [(by_time[when] - 32) / 1.8 for when in sorted(by_time)]
    found = all_of(logger)[1]
    assert np.allclose(found, expected, atol=6e-7, rtol=0)
    stamps = sorted(datetime.fromisoformat(when) for when in by_time)
    steps = [(b - a).total_seconds() for a, b in itertools.pairwise(stamps)]
    rhythm = one.report.rhythm
    assert rhythm["usual_s"] == "3600"
    assert rhythm["gaps"] == sum(step > 3 * 3600 for step in steps)
    assert float(rhythm["longest_gap_s"]) == max(steps)


def test_a_header_one_name_short_and_jitter(
    begin, confirm, logger, shared_data
) -> None:
    path = shared_data("env/occupancy_datatraining.csv")
    rows = [row.split(",") for row in path.read_text().splitlines()[1:]]
    one = begin(path.read_bytes())
    assert guess_of(one).layout.names_missing == 1
    confirm(one)
    work_off()
    one.refresh_from_db()
    assert one.added == 2 * len(rows)
    assert all_of(logger)[1].tolist() == [float(row[2]) for row in rows]
    assert all_of(logger, "humidity")[1].tolist() == [float(row[3]) for row in rows]
    stamps = [datetime.fromisoformat(row[1].strip('"')) for row in rows]
    steps = [(b - a).total_seconds() for a, b in itertools.pairwise(stamps)]
    rhythm = one.report.rhythm
    assert (rhythm["usual_s"], rhythm["jitter_s"]) == ("60", "1")
    assert rhythm["jittery"] == sum(step in (59, 61) for step in steps)


def test_irregular_steps_and_quoted_numbers(
    begin, confirm, logger, people, shared_data
) -> None:
    make_device(people, "LG-2")
    path = shared_data("env/appliances_testing.csv")
    rows = [
        [cell.strip('" ') for cell in row.split(",")]
        for row in path.read_text().splitlines()[1:]
    ]
    one = begin(path.read_bytes())
    confirm(one, 3, 4)
    work_off()
    one.refresh_from_db()
    by_time = {row[0]: (float(row[3]), float(row[4])) for row in rows}
    assert one.added == 2 * len(by_time)
    expected = [by_time[when][0] for when in sorted(by_time)]
    assert all_of(logger)[1].tolist() == expected
    stamps = [datetime.fromisoformat(row[0]) for row in rows]
    steps = [(b - a).total_seconds() for a, b in itertools.pairwise(stamps)]
    ahead = [step for step in steps if step > 0]
    usual = float(one.report.rhythm["usual_s"])
    assert one.report.rhythm["uneven"] == sum(
        abs(s - usual) > usual / 10 for s in ahead
    )
    assert one.report.counts.get("backward", 0) == sum(step < 0 for step in steps)
