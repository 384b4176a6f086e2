"""The one clock, canonical JSON, and keyset pages."""

from __future__ import annotations

import threading
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lab.common import clock
from lab.common.errors import NotAcceptable
from lab.common.jsontext import canonical_text, sha256_hex

LONDON = ZoneInfo("Europe/London")


def test_the_clock_stands_where_it_is_set_and_runs_on_after(noon: datetime) -> None:
    with clock.set_to(noon):
        assert clock.now() == noon
        with clock.set_to(noon + timedelta(hours=1)):
            assert clock.now() == noon + timedelta(hours=1)
        assert clock.now() == noon
    assert abs(clock.now() - datetime.now(UTC)) < timedelta(minutes=1)


def test_the_clock_can_not_be_set_in_production(settings, noon: datetime) -> None:
    settings.CLOCK_SETTABLE = False
    with (
        pytest.raises(RuntimeError, match="demo and in tests only"),
        clock.set_to(noon),
    ):
        pass


def test_a_set_clock_is_one_thread_s_own(noon: datetime) -> None:
    seen: list[datetime] = []
    with clock.set_to(noon):
        thread = threading.Thread(target=lambda: seen.append(clock.now()))
        thread.start()
        thread.join()
    assert seen[0] != noon


def test_an_event_may_be_said_five_minutes_ahead_and_no_more(noon: datetime) -> None:
    with clock.set_to(noon):
        clock.require_not_future(noon + timedelta(minutes=5))
        with pytest.raises(NotAcceptable, match="lies in the future") as refusal:
            clock.require_not_future(noon + timedelta(minutes=5, seconds=1), field="at")
    assert refusal.value.field == "at"


def test_a_due_day_ends_at_local_midnight_through_a_clock_change() -> None:
    # 29 March 2026 has 23 hours in London, 25 October 25.
    assert clock.end_of_day(date(2026, 3, 28), LONDON).astimezone(UTC) == datetime(
        2026, 3, 29, 0, tzinfo=UTC
    )
    assert clock.end_of_day(date(2026, 3, 29), LONDON).astimezone(UTC) == datetime(
        2026, 3, 29, 23, tzinfo=UTC
    )


JSON = st.recursive(
    st.none()
    | st.booleans()
    | st.integers()
    | st.text()
    | st.floats(allow_nan=False, allow_infinity=False),
    lambda inner: st.lists(inner) | st.dictionaries(st.text(), inner),
    max_leaves=12,
)


@given(st.dictionaries(st.text(), JSON))
def test_the_order_of_keys_does_not_change_the_text(content: dict) -> None:
    turned = dict(reversed(content.items()))
    assert canonical_text(content) == canonical_text(turned)


def test_canonical_text_of_what_json_does_not_know(noon: datetime) -> None:
    content = {"b": Decimal("12.700"), "a": noon, "day": date(2026, 3, 17)}
    assert canonical_text(content) == (
        '{"a":"2026-03-17T12:00:00Z","b":"12.700","day":"2026-03-17"}'
    )
    same_instant = noon.astimezone(LONDON)
    assert canonical_text({"a": same_instant}) == canonical_text({"a": noon})


@pytest.mark.parametrize(
    ("content", "error"),
    [
        (float("nan"), ValueError),
        (float("inf"), ValueError),
        (Decimal("NaN"), ValueError),
        (datetime(2026, 1, 1), TypeError),  # noqa: DTZ001 - naive on purpose
        (object(), TypeError),
    ],
)
def test_what_has_no_agreed_text_is_refused(content: object, error: type) -> None:
    with pytest.raises(error):
        canonical_text({"value": content})


def test_the_hash_is_that_of_the_utf_8_bytes() -> None:
    assert sha256_hex("") == (
        "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855"
    )  # FIPS 180-4, the empty message
    assert sha256_hex("µ") == sha256_hex("µ".encode())
