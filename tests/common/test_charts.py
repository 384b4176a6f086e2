"""Charts over time: where things lie, what is cut off, and which period is shown."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from django.template.loader import render_to_string
from django.utils import timezone
from hypothesis import given
from hypothesis import strategies as st

from lab.common import clock
from lab.common.charts import (
    Band,
    Level,
    Line,
    Mark,
    Plot,
    Point,
    Shape,
    Tone,
    laid_out,
    period_asked_for,
)
from lab.common.charts.axes import time_ticks, time_words, value_ticks

START = datetime(2026, 3, 2, tzinfo=UTC)
DAY = timedelta(days=1)


@pytest.fixture(autouse=True)
def london():
    with timezone.override(ZoneInfo("Europe/London")):
        yield


def plot(*values: float, **more) -> Plot:
    points = [
        Point(START + number * DAY, value, Shape.DOT, title=f"day {number}")
        for number, value in enumerate(values)
    ]
    said = {
        "title": "Error",
        "description": "Over days.",
        "unit": "µm",
        "start": START,
        "end": START + (len(values) - 1) * DAY,
        "lines": [Line(points, **more.pop("line", {}))],
    }
    return Plot(**said | more)


def test_a_larger_value_lies_higher_and_a_later_one_farther_right() -> None:
    signs = laid_out(plot(1.0, 3.0, 2.0)).signs
    assert signs[0].x < signs[1].x < signs[2].x
    assert signs[1].y < signs[2].y < signs[0].y
    assert [sign.title for sign in signs] == ["day 0", "day 1", "day 2"]


def test_a_line_is_broken_where_it_is_said_and_where_time_cuts_it() -> None:
    whole = laid_out(plot(1, 2, 3, 4, 5))
    broken = laid_out(plot(1, 2, 3, 4, 5, line={"breaks": [2]}))

    def lengths(picture):
        return [len(one.places) for one in picture.strokes if len(one.places) != 2]

    # The frame has three places; the line five, or two and three.
    assert lengths(whole) == [3, 5]
    assert lengths(broken) == [3, 3]
    cut = laid_out(plot(1, 2, 3, 4, 5, start=START + 2 * DAY))
    assert [sign.title for sign in cut.signs] == ["day 2", "day 3", "day 4"]


def test_a_value_that_is_no_number_leaves_a_gap() -> None:
    picture = laid_out(plot(1.0, float("nan"), 2.0, 3.0))
    assert len(picture.signs) == 3
    lines = [one for one in picture.strokes if one.tone is Tone.QUIET]
    assert max(len(one.places) for one in lines) == 3  # the frame; the line has two


def test_steps_hold_a_value_until_the_next() -> None:
    line = laid_out(plot(1.0, 2.0, line={"steps": True, "width": 3.0})).strokes[-1]
    (_, first), (_, held), (_, last) = line.places
    assert first == held != last


def test_levels_marks_and_bands_are_cut_to_the_time_shown() -> None:
    picture = laid_out(
        plot(
            *[1.0, 2.0, 3.0],
            levels=[
                Level(2.5, "limit"),
                Level(1.5, "old", end=START + DAY),
                Level(9.0, "gone", end=START - DAY),
            ],
            marks=[
                Mark(START + DAY, "B", "Break"),
                Mark(START + DAY + timedelta(minutes=5), "C", "Calibration"),
                Mark(START - DAY, "C", "Before"),
            ],
            bands=[Band(START - DAY, START + DAY, "warm")],
        )
    )
    said = [word.text for word in picture.words]
    assert "limit" in said
    assert "old" not in said  # its label would stand at the right edge
    assert "gone" not in said
    # Two letters on one place would cover each other; both lines are there.
    assert ("B" in said, "C" in said) == (True, False)
    titles = [one.title for one in picture.strokes]
    assert "Break" in titles
    assert "Calibration" in titles
    assert "Before" not in titles
    assert picture.boxes[0].x < picture.boxes[0].x + picture.boxes[0].width < 720


@given(
    st.lists(
        st.floats(-1e6, 1e6, allow_nan=False).filter(lambda v: v == 0 or abs(v) > 1e-3),
        min_size=1,
        max_size=30,
    )
)
def test_everything_lies_inside_the_picture(values) -> None:
    picture = laid_out(plot(*values))
    places = [place for one in picture.strokes for place in one.places]
    places += [(sign.x, sign.y) for sign in picture.signs]
    assert all(0 <= x <= picture.width and 0 <= y <= picture.height for x, y in places)


@given(st.floats(-1e6, 1e6), st.floats(1e-6, 1e6))
def test_ticks_are_few_even_and_within(lowest: float, span: float) -> None:
    ticks = value_ticks(lowest, lowest + span)
    assert 1 <= len(ticks) <= 7
    assert all(lowest - span < tick < lowest + 2 * span for tick in ticks)


@given(st.integers(0, 60), st.integers(2, 30_000_000))
def test_ticks_of_time_are_few_and_local(hours: int, seconds: int) -> None:
    start = START + timedelta(hours=hours)
    ticks = time_ticks(start, start + timedelta(seconds=seconds))
    assert len(ticks) <= 9
    assert all(start <= tick <= start + timedelta(seconds=seconds) for tick in ticks)
    assert len(time_words(ticks)) == len(ticks)


def test_ticks_of_months_stand_at_local_midnight_in_summer_too() -> None:
    ticks = time_ticks(START, START + 200 * DAY)
    assert time_words(ticks)[0] == "2026-03-01" or time_words(ticks)[0] == "2026-05-01"
    assert {tick.hour for tick in ticks} == {0}
    assert {tick.utcoffset() for tick in ticks} == {timedelta(hours=1)}


def test_the_template_writes_what_is_drawn_and_escapes_it() -> None:
    picture = laid_out(plot(1.0, 2.0, title='<script>"'))
    page = render_to_string("pieces/chart.html", {"picture": picture})
    assert page.count("<circle") == 2
    assert "<script>" not in page
    assert "style=" not in page


def test_a_period_is_what_was_asked_for_or_the_last_days() -> None:
    with clock.set_to(datetime(2026, 7, 14, 12, tzinfo=UTC)):
        usual = period_asked_for({}, days=30)
        assert (usual.first, usual.last) == (date(2026, 6, 15), date(2026, 7, 14))
        assert [link.label for link in usual.links() if link.is_shown] == [
            "Last 30 days"
        ]
        said = period_asked_for({"from": "2026-03-01", "to": "2026-03-10"})
        assert (said.days, said.words) == (10, "2026-03-01 to 2026-03-10")
        assert said.start == datetime(2026, 3, 1, tzinfo=UTC)
        assert period_asked_for({"from": "2026-03-10", "to": "2026-03-01"}) == said
        nonsense = period_asked_for({"from": "2026-02-31", "to": "soon"}, days=30)
        assert nonsense == usual
        far = period_asked_for({"from": "9999-12-31", "to": "2199-12-31"})
        assert far.last == date(2199, 12, 31)
        assert all("=" in link.query for link in far.links())
