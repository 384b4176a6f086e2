"""Loggers' files: what is guessed of them, and what is read and reported."""

from __future__ import annotations

import io
from contextlib import suppress
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from lab.environment.logs.guessing import Wish, guess
from lab.environment.logs.layout import Channel, Layout, layout_from
from lab.environment.logs.report import Report, told_from
from lab.environment.logs.times import (
    AMBIGUOUS,
    SKIPPED,
    many_wall_us,
    placed,
    stated_us,
    wall_us,
    zone_named,
)
from lab.environment.logs.walking import Walk
from lab.environment.times import us_of
from lab.metrology.errors import BadShape, OutOfDomain

LATEST = us_of(datetime(2026, 6, 1, tzinfo=UTC))
LONDON = "Europe/London"
WALL_CLOCKS = st.datetimes(
    datetime(1990, 1, 1),  # noqa: DTZ001 - a wall clock has no zone
    datetime(2037, 1, 1),  # noqa: DTZ001
)


def guessed(text: str, **more):
    return guess(text.encode(), zone=LONDON, sensors=["LG-1", "LG-2"], **more)


def read(text: str, layout: Layout) -> tuple[list[tuple[str, float]], Report]:
    """Return readings as (UTC time, value) of the first channel, and the report."""
    walk = Walk(layout, LATEST)
    found = []
    for series in walk.bites(io.BytesIO(text.encode(layout.encoding))):
        for us, value in zip(series[0].times_us, series[0].values, strict=True):
            found.append((str(np.datetime64(int(us), "us"))[:19], float(value)))
    return found, walk.report


def plain(**changes) -> Layout:
    fields = {
        "encoding": "utf-8-sig",
        "delimiter": ",",
        "decimal": ".",
        "header_row": 0,
        "names": ("time", "T"),
        "names_missing": 0,
        "width": 2,
        "time_columns": (0,),
        "time_form": "iso",
        "zone": LONDON,
        "channels": (Channel(1, "LG-1", "temperature", "°C"),),
    }
    return Layout(**fields | changes)


# --- Guesses --------------------------------------------------------------------------


def test_a_plain_file_is_known_at_a_glance() -> None:
    found = guessed(
        "Time;LG-1 Temp (°C);LG-1 RH (%);Battery\n"
        "2026-03-17 09:00;20,1;45,0;3,01\n2026-03-17 09:10;20,2;45,5;3,01\n"
    )
    layout = found.layout
    assert (layout.delimiter, layout.decimal, layout.header_row) == (";", ",", 0)
    assert (layout.time_columns, layout.time_form, layout.zone) == ((0,), "iso", LONDON)
    assert layout.channels == (
        Channel(1, "LG-1", "temperature", "°C"),
        Channel(2, "LG-1", "humidity", "%"),
    )
    assert found.rows[0] == ("2026-03-17 09:00", "20,1", "45,0", "3,01")
    assert layout_from(layout.to_text()) == layout
    assert any("zone" in note for note in found.notes)


def test_a_header_one_name_short_is_told() -> None:
    row = '"{0}","2026-03-17 09:0{0}:00",20.1\n'
    found = guessed('"date","Temp"\n' + row.format(1) + row.format(2))
    assert found.layout.names_missing == 1
    assert found.layout.name_of(2) == "Temp"
    assert [one.column for one in found.layout.channels] == [2]
    assert any("1 name short" in note for note in found.notes)


def test_day_and_month_are_told_apart_only_where_the_rows_do() -> None:
    rows = "date,temp °C\n{}/{}/2026 09:00,20.1\n03/04/2026 09:10,20.2\n"
    assert guessed(rows.format(13, "04")).layout.time_form == "dmy"
    assert guessed(rows.format("04", 13)).layout.time_form == "mdy"
    unclear = guessed(rows.format("03", "04"))
    assert unclear.layout.time_form == ""
    assert any("told apart" in note for note in unclear.notes)


def test_fahrenheit_is_suspected_and_said() -> None:
    found = guessed("timestamp,value\n2026-03-17 09:00:00,69.8\n")
    assert found.layout.channels == (Channel(1, "", "temperature", "°F"),)
    assert any("taken for °F" in note for note in found.notes)


def test_dates_and_clock_times_in_two_columns() -> None:
    found = guessed("Date\tClock\tT °C\n17.03.2026\t09:00\t20.1\n")
    assert (found.layout.delimiter, found.layout.time_columns) == ("\t", (0, 1))
    assert found.layout.time_form == "dmy"
    assert read("Date\tClock\tT °C\n17.03.2026\t09:00\t20.1\n", found.layout)[0] == [
        ("2026-03-17T09:00:00", 20.1)
    ]


def test_a_preamble_is_passed_over_and_a_wish_is_followed() -> None:
    text = "Logger;7\nSerial;SL-771\nTime;T\n2026-03-17 09:00;20.1\n"
    found = guessed(text)
    assert (found.layout.header_row, found.layout.names) == (2, ("Time", "T"))
    assert guessed(text, wish=Wish(header_row=1)).layout.names == ("Serial", "SL-771")


@pytest.mark.parametrize("text", ["", "\n\n", "one\ntwo\n", "a,b\nc,d\n", "a,1\nb,2\n"])
def test_what_is_no_log_is_refused(text: str) -> None:
    with pytest.raises(BadShape):
        guessed(text)


@given(st.binary(max_size=300))
def test_any_bytes_are_looked_at_or_refused(blob: bytes) -> None:
    with suppress(BadShape):
        assert guess(blob, zone="UTC").layout.width > 1


# --- Times ----------------------------------------------------------------------------


@given(WALL_CLOCKS, st.sampled_from("T "))
def test_fast_and_slow_reading_of_times_agree(when: datetime, sign: str) -> None:
    text = when.isoformat(sep=sign)
    fast = many_wall_us([text, text])
    slow = wall_us(text, "iso")
    assert slow == us_of(when.replace(tzinfo=UTC))
    assert fast is None or fast.tolist() == [slow, slow]
    assert fast is not None or len(text) == 20


@pytest.mark.parametrize(
    "text", ["2026-02-30 09:00:00", "2026-03-17X09:00:00", "2026-03-17 09:00:0x", ""]
)
def test_no_time_is_read_out_of_nonsense(text: str) -> None:
    assert many_wall_us([text]) is None
    with pytest.raises(ValueError, match=r"day|^" + text[:4]):
        wall_us(text, "iso")


@pytest.mark.parametrize(
    ("text", "form", "iso"),
    [
        ("31/07/2026 15:40", "dmy", "2026-07-31 15:40"),
        ("31.07.26 15:40:30,25", "dmy", "2026-07-31 15:40:30.25"),
        ("07/31/2026 3:40 PM", "mdy", "2026-07-31 15:40"),
        ("7/31/2026 12:05 a.m.", "mdy", "2026-07-31 00:05"),
        ("2026/07/31 15:40", "ymd", "2026-07-31 15:40"),
    ],
)
def test_written_times(text: str, form: str, iso: str) -> None:
    assert wall_us(text, form) == wall_us(
        iso.ljust(22, "0") if "." in iso else iso, "iso"
    )


def test_times_that_need_no_zone() -> None:
    noon = us_of(datetime(2026, 7, 31, 12, tzinfo=UTC))
    assert stated_us("2026-07-31T13:00:00+01:00", "iso") == noon
    assert stated_us("2026-07-31T12:00:00Z", "iso") == noon
    assert stated_us(str(noon // 10**6), "epoch_s") == noon
    assert stated_us(f"{noon // 1000}.5", "epoch_ms") == noon + 500
    with pytest.raises(OutOfDomain, match="no time zone"):
        zone_named("Port/Ennis")


@given(
    WALL_CLOCKS,
    st.sampled_from(
        [LONDON, "Australia/Lord_Howe", "America/New_York", "UTC", "+05:30"]
    ),
)
def test_placing_agrees_with_one_time_at_once(when: datetime, zone: str) -> None:
    place = zone_named(zone)
    wall = us_of(when.replace(tzinfo=UTC))
    found = placed(np.array([wall, wall]), place)
    first = when.replace(tzinfo=place, fold=0)
    second = when.replace(tzinfo=place, fold=1)
    if first.utcoffset() == second.utcoffset():
        assert found.fault.tolist() == [0, 0]
        assert found.times_us.tolist() == [us_of(first)] * 2
    else:
        back = first.utcoffset() > second.utcoffset()
        assert found.fault.tolist() == [AMBIGUOUS if back else SKIPPED] * 2


# --- Rows -----------------------------------------------------------------------------


def test_clock_changes_are_reported_and_not_guessed() -> None:
    text = (
        "time,T\n2025-03-30 00:59:00,20.0\n2025-03-30 01:30:00,20.1\n"
        "2025-03-30 02:00:00,20.2\n2025-10-26 00:59:00,21.0\n"
        "2025-10-26 01:30:00,21.1\n2025-10-26 01:30:00,21.2\n2025-10-26 02:00:00,21.3\n"
    )
    found, report = read(text, plain())
    assert [value for _, value in found] == [20.0, 20.2, 21.0, 21.3]
    assert found[1][0] == "2025-03-30T01:00:00"
    assert report.counts == {"skipped": 1, "ambiguous": 2}
    assert [one.row for one in sorted(report.findings, key=lambda f: f.row)] == [
        3,
        6,
        7,
    ]
    # The logger that kept one offset all year has no such hours.
    assert len(read(text, plain(zone="+00:00"))[0]) == 7


def test_every_quirk_is_told_with_its_row() -> None:
    text = (
        "time,T\n"
        "2026-03-17 09:00:00,20.0\n"  # 2
        "2026-03-17 09:10:00,20.1,9\n"  # 3 ragged
        "\n"  # 4 blank
        "2026-03-17 09:20:00,\n"  # 5 missing
        "2026-03-17 09:30:00,NaN\n"  # 6
        "2026-03-17 09:40:00,1_000\n"  # 7 number
        "2026-03-17 09:50:00,850\n"  # 8 range
        "soon,20.0\n"  # 9 time
        "2027-03-17 09:00:00,20.0\n"  # 10 future
        "1970-01-01 00:10:00,20.0\n"  # 11 unset
        "2026-03-17 08:00:00,20.2\n"  # 12 backward
        "2026-03-17 10:00:00,20.3\n"
    )
    found, report = read(text, plain())
    assert [value for _, value in found] == [20.0, 20.2, 20.3]
    told = {one.kind: one.row for one in report.findings}
    assert told == {
        "ragged": 3,
        "blank": 4,
        "missing": 5,
        "nan": 6,
        "number": 7,
        "range": 8,
        "time": 9,
        "future": 10,
        "unset": 11,
        "backward": 12,
    }
    assert report.rows == 12
    kept = told_from(report.to_text())
    assert kept.counts == dict(report.counts)
    assert sum(count for _, count, _ in kept.lines) == 10


def test_numbers_by_column_and_one_by_one_agree() -> None:
    rows = [f"2026-03-17 09:{minute:02}:00,{20 + minute / 7!r}" for minute in range(60)]
    clean = "time,T\n" + "\n".join(rows) + "\n"
    fast, _ = read(clean, plain())
    slow, report = read(clean + "2026-03-17 10:00:00,?\n", plain())
    assert fast == slow
    assert report.counts == {"number": 1}


def test_the_decimal_comma_and_fahrenheit() -> None:
    layout = plain(
        delimiter=";", decimal=",", channels=(Channel(1, "LG-1", "temperature", "°F"),)
    )
    found, report = read(
        "time;T\n2026-03-17 09:00:00;68,0\n2026-03-17 09:01:00;68.5\n", layout
    )
    assert found == [("2026-03-17T09:00:00", 20.0)]
    assert report.counts == {"number": 1}


def test_the_rhythm_of_rows() -> None:
    seconds = [0, 60, 119, 180, 240, 300, 360, 3600, 3660, 3720, 3900]
    rows = [
        f"{datetime.fromtimestamp(1_700_000_000 + s, UTC):%Y-%m-%d %H:%M:%S},20"
        for s in seconds
    ]
    _, report = read("time,T\n" + "\n".join(rows), plain(zone="UTC"))
    told = told_from(report.to_text()).rhythm
    assert told["usual_s"] == "60"
    assert (told["jitter_s"], told["jittery"]) == ("1", 2)
    assert (told["gaps"], told["longest_gap_s"], told["uneven"]) == (1, "3240", 2)


def test_a_quotation_mark_that_is_never_closed_is_a_refusal() -> None:
    text = 'time,T\n2026-03-17 09:00:00,"' + "20\n" * 60_000
    with pytest.raises(BadShape, match="quotation mark"):
        read(text, plain())


def test_local_times_become_utc_by_the_zone() -> None:
    found, _ = read("time,T\n2025-07-01 12:00:00,20\n", plain())
    assert found == [("2025-07-01T11:00:00", 20.0)]
    assert ZoneInfo(LONDON).key == LONDON
