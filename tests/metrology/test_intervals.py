"""Due dates and calibration intervals."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lab.metrology.errors import OutOfDomain, TooFew
from lab.metrology.intervals import (
    Advice,
    IntervalPolicy,
    due_on,
    interval_from_drift,
    is_current,
    staircase,
)

YEARLY = [date(2021, 3, 1), date(2022, 3, 1), date(2023, 3, 1), date(2024, 3, 1)]


class TestDueDates:
    @pytest.mark.parametrize(
        ("calibrated", "months", "due"),
        [
            (date(2024, 1, 31), 1, date(2024, 2, 29)),
            (date(2023, 1, 31), 1, date(2023, 2, 28)),
            (date(2024, 2, 29), 12, date(2025, 2, 28)),
            (date(2024, 2, 29), 48, date(2028, 2, 29)),
            (date(2024, 12, 15), 1, date(2025, 1, 15)),
            (date(2024, 3, 15), 24, date(2026, 3, 15)),
        ],
    )
    def test_calendar_months(self, calibrated: date, months: int, due: date) -> None:
        assert due_on(calibrated, months) == due

    @given(st.dates(date(1990, 1, 1), date(2090, 1, 1)), st.integers(1, 120))
    def test_longer_intervals_end_later(self, day: date, months: int) -> None:
        assert day < due_on(day, months) < due_on(day, months + 1)
        # No calendar month is shorter than 28 or longer than 31 days.
        assert 28 * months <= (due_on(day, months) - day).days <= 31 * months

    def test_current_to_the_end_of_the_due_day(self) -> None:
        due = date(2025, 6, 30)
        assert is_current(due, due)
        assert is_current(due, due - timedelta(days=400))
        assert not is_current(due, date(2025, 7, 1))

    def test_refusals(self) -> None:
        with pytest.raises(OutOfDomain, match="months is 0"):
            due_on(date(2024, 1, 1), 0)
        with pytest.raises(OutOfDomain, match="months is 1201"):
            due_on(date(2024, 1, 1), 1201)
        with pytest.raises(OutOfDomain, match="in the year 10000"):
            due_on(date(9999, 12, 1), 1)


class TestStaircase:
    @pytest.mark.parametrize(
        ("share", "advice", "months"),
        [
            (0.0, Advice.EXTEND, 18),
            (0.8, Advice.EXTEND, 18),
            (0.81, Advice.KEEP, 12),
            (1.0, Advice.KEEP, 12),
            (1.01, Advice.REDUCE, 6),
        ],
    )
    def test_steps(self, share: float, advice: Advice, months: int) -> None:
        found = staircase([share], 12)
        assert (found.advice, found.months) == (advice, months)

    def test_extension_waits_for_a_run_of_good_results(self) -> None:
        policy = IntervalPolicy(in_a_row=3)
        assert staircase([0.9, 0.5, 0.5], 12, policy).advice is Advice.KEEP
        found = staircase([0.9, 0.5, 0.5, 0.4], 12, policy)
        assert found.advice is Advice.EXTEND
        assert found.reason == (
            "The last 3 calibration(s) found errors within 80 % of the permissible "
            "one: extend from 12 to 18 months."
        )

    def test_a_bad_result_reduces_whatever_came_before(self) -> None:
        assert staircase([0.1, 0.1, 0.1, 1.2], 12).advice is Advice.REDUCE

    def test_steps_move_by_a_month_at_least(self) -> None:
        policy = IntervalPolicy(extend_factor=1.1, reduce_factor=0.95)
        assert staircase([0.1], 3, policy).months == 4
        assert staircase([2.0], 3, policy).months == 2

    def test_bounds_of_the_policy(self) -> None:
        policy = IntervalPolicy(shortest_months=6, longest_months=24)
        assert staircase([0.1], 18, policy).months == 24
        top, bottom = staircase([0.1], 24, policy), staircase([3.0], 6, policy)
        assert top.advice is bottom.advice is Advice.KEEP
        assert "that would extend it, but the policy bounds it" in top.reason
        assert staircase([0.1], 36, policy).advice is Advice.REDUCE

    @given(st.lists(st.floats(0.0, 2.0), min_size=1), st.integers(1, 60))
    def test_a_better_last_result_never_shortens(
        self, shares: list[float], months: int
    ) -> None:
        found = staircase(shares, months).months
        assert staircase([*shares[:-1], shares[-1] / 2], months).months >= found

    def test_refusals(self) -> None:
        with pytest.raises(TooFew, match="needs a result"):
            staircase([], 12)
        with pytest.raises(OutOfDomain, match=r"shares_of_limit is -0\.1"):
            staircase([-0.1], 12)
        with pytest.raises(OutOfDomain, match="months is 0"):
            staircase([0.1], 0)

    @pytest.mark.parametrize(
        ("fields", "message"),
        [
            ({"extend_up_to": 1.2}, "positive and in that order"),
            ({"extend_factor": 1.0}, "one must be below 1"),
            ({"reduce_factor": 0.0}, "one must be below 1"),
            ({"in_a_row": 0}, "in_a_row is 0"),
            ({"shortest_months": 61}, "1 or more and in order"),
        ],
    )
    def test_impossible_policies(self, fields: dict[str, float], message: str) -> None:
        with pytest.raises(OutOfDomain, match=message):
            IntervalPolicy(**fields)  # type: ignore[arg-type]


class TestDrift:
    def test_whole_months_that_end_before_the_bound(self) -> None:
        found = interval_from_drift(YEARLY, [0.2, 0.9, 1.7, 2.3], 4.0, 12)
        assert found.earliest_on is not None
        assert found.expected_on is not None
        assert found.earliest_on < found.expected_on
        assert due_on(YEARLY[-1], found.months) <= found.earliest_on
        assert due_on(YEARLY[-1], found.months + 1) > found.earliest_on
        assert found.advice is Advice.EXTEND
        assert found.reason.endswith("extend from 12 to 23 months.")

    def test_an_instrument_that_drifts_out_is_called_in(self) -> None:
        found = interval_from_drift(YEARLY, [0.2, 0.9, 1.7, 2.3], 2.5, 12)
        assert found.advice is Advice.REDUCE
        assert found.months < 12

    def test_a_bound_already_reached_gives_the_shortest_interval(self) -> None:
        policy = IntervalPolicy(shortest_months=3)
        found = interval_from_drift(YEARLY, [0.2, 0.9, 1.7, 2.3], 2.0, 12, policy)
        assert found.months == 3
        assert found.earliest_on == YEARLY[-1]
        assert "already reached" in found.reason

    def test_no_drift_gives_the_longest_interval(self) -> None:
        found = interval_from_drift(YEARLY, [0.1, 0.1, 0.1, 0.1], 4.0, 12)
        assert found.months == 60
        assert found.expected_on is None

    def test_order_does_not_matter(self) -> None:
        plain = interval_from_drift(YEARLY, [0.2, 0.9, 1.7, 2.3], 4.0, 12)
        turned = interval_from_drift(YEARLY[::-1], [2.3, 1.7, 0.9, 0.2], 4.0, 12)
        assert turned.earliest_on == plain.earliest_on

    def test_a_date_beyond_the_calendar_is_never(self) -> None:
        errors = [0.0, 1e-6, 2e-6, 3e-6]
        found = interval_from_drift(YEARLY, errors, 1e6, 12)
        assert found.expected_on is None
        assert found.months == 60

    def test_refusals(self) -> None:
        with pytest.raises(TooFew, match="at least 3 are needed"):
            interval_from_drift(YEARLY[:2], [0.1, 0.2], 4.0, 12)
        with pytest.raises(OutOfDomain, match="months is 0"):
            interval_from_drift(YEARLY, [0.1, 0.2, 0.3, 0.4], 4.0, 0)
