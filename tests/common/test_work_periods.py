"""Periodic work: one row a period among any number of workers, missed ticks once."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lab.common import clock
from lab.common.models import WorkerHeartbeat, WorkItem
from lab.common.work.housekeeping import purge_done_work
from lab.common.work.kinds import all_kinds
from lab.common.work.periods import Ticks, period_of
from lab.common.work.running import work_off

Declare = Callable[..., None]
HOUR = timedelta(hours=1)


@pytest.fixture
def hourly(declare: Declare, monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """Declare one periodic kind and no other; return what its runs note down."""
    for name in list(all_kinds()):
        monkeypatch.delitem(all_kinds(), name)
    ran: list[str] = []
    declare("probe.tick", lambda: ran.append("ran"), every=HOUR)
    return ran


@given(
    instant=st.datetimes(timezones=st.just(UTC), min_value=datetime(1980, 1, 1)),  # noqa: DTZ001 - hypothesis adds the zone
    seconds=st.integers(1, 10_000_000),
)
def test_a_period_holds_its_instant_and_begins_where_the_last_one_ended(
    instant: datetime, seconds: int
) -> None:
    every = timedelta(seconds=seconds)
    began = datetime.fromisoformat(period_of(instant, every))
    assert began <= instant < began + every
    assert period_of(began, every) == period_of(instant, every)
    assert period_of(began - timedelta(microseconds=1), every) != period_of(
        began, every
    )


@pytest.mark.django_db
def test_two_workers_make_one_tick(hourly: list[str], noon: datetime) -> None:
    with clock.set_to(noon):
        for ticks in (Ticks(), Ticks()):
            ticks.insert_due()
        work_off()
        Ticks().insert_due()
        assert work_off() == 0
    assert hourly == ["ran"]


@pytest.mark.django_db
def test_missed_ticks_are_made_up_once(hourly: list[str], noon: datetime) -> None:
    ticks = Ticks()
    for instant in (noon, noon + timedelta(days=5), noon + timedelta(days=5, hours=1)):
        with clock.set_to(instant):
            ticks.insert_due()
            work_off()
    assert hourly == ["ran"] * 3


@pytest.mark.django_db
def test_ticks_do_not_pile_up_behind_one_that_is_open(
    hourly: list[str], noon: datetime
) -> None:
    ticks = Ticks()
    for hours in range(5):
        with clock.set_to(noon + hours * HOUR):
            ticks.insert_due()
    assert WorkItem.objects.count() == 1
    with clock.set_to(noon + 4 * HOUR):
        work_off()
        ticks.insert_due()
    assert WorkItem.objects.filter(state="wanted").count() == 1


@pytest.mark.django_db
def test_a_tick_with_nothing_to_do_makes_no_row(
    hourly: list[str], declare: Declare, noon: datetime
) -> None:
    asked: list[bool] = []

    def due() -> bool:
        asked.append(True)
        return len(asked) > 1

    declare("probe.tick", lambda: hourly.append("ran"), every=HOUR, due=due)
    ticks = Ticks()
    for hours in range(2):
        with clock.set_to(noon + hours * HOUR):
            ticks.insert_due()
            ticks.insert_due()
            work_off()
    assert hourly == ["ran"]
    assert len(asked) == 2


@pytest.mark.django_db
def test_a_failed_tick_is_settled_by_the_next(
    hourly: list[str], declare: Declare, noon: datetime
) -> None:
    def fail() -> None:
        raise ValueError("Boom.")

    declare("probe.tick", fail, every=HOUR, tries=1)
    ticks = Ticks()
    with clock.set_to(noon):
        ticks.insert_due()
        work_off()
        assert WorkItem.objects.get().state == "failed"
    declare("probe.tick", lambda: hourly.append("ran"), every=HOUR)
    with clock.set_to(noon + HOUR):
        ticks.insert_due()
        work_off()
    assert set(WorkItem.objects.values_list("state", flat=True)) == {"done"}


@pytest.mark.django_db
def test_done_rows_go_after_a_month_and_frequent_ticks_after_a_day(
    declare: Declare, noon: datetime
) -> None:
    declare("probe.often", lambda: None, every=timedelta(seconds=5))
    declare("probe.run", lambda _id: None)
    for days in (0, 2, 40):
        finished = noon - timedelta(days=days)
        for kind, period in (("probe.often", f"{days}"), ("probe.run", "")):
            WorkItem.objects.create(
                kind=kind, period=period, state="done", finished_at=finished
            )
    WorkItem.objects.create(
        kind="probe.run", state="failed", finished_at=noon - timedelta(days=90)
    )
    WorkerHeartbeat.objects.create(
        name="gone", started_at=noon, at=noon - timedelta(days=2)
    )
    with clock.set_to(noon):
        assert purge_done_work() == 3
    left = WorkItem.objects.values_list("kind", "state", "finished_at")
    assert set(left) == {
        ("probe.often", "done", noon),
        ("probe.run", "done", noon),
        ("probe.run", "done", noon - timedelta(days=2)),
        ("probe.run", "failed", noon - timedelta(days=90)),
    }
    assert not WorkerHeartbeat.objects.exists()
