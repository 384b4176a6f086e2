"""When the next calibration is due, and whether the interval is right.

Due dates are dates: an instrument is current to the end of its due day, in the
zone of the site. Intervals are calendar months, counted from the day of the
calibration; the 31st falls back to the last day of a shorter month.

Two methods of ILAC-G24/OIML D 10 propose another interval. The staircase looks at
the last result: well within the permissible error, extend; outside it, reduce;
the guide gives no step sizes, so they are the laboratory's. The regression fits
the drift over several calibrations and plans for the date by which the error may,
within the 95 % band of the line, have met its limit.

Both give their reason in words; a person decides.
"""

from __future__ import annotations

import calendar
import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from enum import StrEnum
from typing import Final

from lab.metrology.arrays import non_negative, vector
from lab.metrology.errors import OutOfDomain, TooFew
from lab.metrology.trend import TrendForecast, forecast_limit

__all__ = [
    "Advice",
    "DriftAdvice",
    "IntervalAdvice",
    "IntervalPolicy",
    "due_on",
    "interval_from_drift",
    "is_current",
    "staircase",
]

_LONGEST_MONTHS: Final = 1200


class Advice(StrEnum):
    """What is proposed for an interval."""

    EXTEND = "extend"
    KEEP = "keep"
    REDUCE = "reduce"


@dataclass(frozen=True, slots=True)
class IntervalPolicy:
    """A laboratory's own rules for its intervals.

    `extend_up_to` and `reduce_above` are shares of the permissible error, the
    first of them inclusive; `in_a_row` is how many results must have been good
    before an extension. The step factors have no source but the laboratory.
    """

    extend_up_to: float = 0.8
    reduce_above: float = 1.0
    extend_factor: float = 1.5
    reduce_factor: float = 0.5
    in_a_row: int = 1
    shortest_months: int = 1
    longest_months: int = 60

    def __post_init__(self) -> None:
        """Refuse policies that would extend on bad results or never move."""
        if not 0.0 < self.extend_up_to <= self.reduce_above:
            raise OutOfDomain(
                f"extend_up_to is {self.extend_up_to:g} and reduce_above "
                f"{self.reduce_above:g}; they must be positive and in that order."
            )
        if not 0.0 < self.reduce_factor < 1.0 < self.extend_factor:
            raise OutOfDomain(
                f"reduce_factor is {self.reduce_factor:g} and extend_factor "
                f"{self.extend_factor:g}; one must be below 1 and the other above."
            )
        if self.in_a_row < 1:
            raise OutOfDomain(f"in_a_row is {self.in_a_row}; it must be 1 or more.")
        if not 1 <= self.shortest_months <= self.longest_months:
            raise OutOfDomain(
                f"shortest_months is {self.shortest_months} and longest_months "
                f"{self.longest_months}; they must be 1 or more and in order."
            )


@dataclass(frozen=True, slots=True)
class IntervalAdvice:
    """A proposed interval with its reason."""

    advice: Advice
    months: int
    previous_months: int
    reason: str


@dataclass(frozen=True, slots=True)
class DriftAdvice:
    """An interval proposed from the drift; dates are None for never."""

    advice: Advice
    months: int
    previous_months: int
    expected_on: date | None
    earliest_on: date | None
    forecast: TrendForecast
    reason: str


def due_on(calibrated_on: date, months: int) -> date:
    """Return the last day on which a calibration is current.

    Parameters
    ----------
    calibrated_on : date
        Day of the calibration.
    months : int
        Interval in calendar months, 1 to 1200.

    Returns
    -------
    due : date
        The same day of the month, or the month's last day where it has none.

    Raises
    ------
    OutOfDomain
        If months lies outside its range, or the date after the last year.

    Examples
    --------
    >>> due_on(date(2023, 8, 31), 6)
    datetime.date(2024, 2, 29)
    """
    if not 1 <= months <= _LONGEST_MONTHS:
        raise OutOfDomain(
            f"months is {months}; an interval has 1 to {_LONGEST_MONTHS} months."
        )
    year, month0 = divmod(
        calibrated_on.year * 12 + calibrated_on.month - 1 + months, 12
    )
    if year > date.max.year:
        raise OutOfDomain(f"The due date would lie in the year {year}.")
    last_day = calendar.monthrange(year, month0 + 1)[1]
    return date(year, month0 + 1, min(calibrated_on.day, last_day))


def is_current(due: date, day: date) -> bool:
    """Say whether a calibration is current on a day of the site's calendar.

    Parameters
    ----------
    due : date
        From `due_on`; the whole day counts.
    day : date
        The local day in question.

    Returns
    -------
    current : bool

    Examples
    --------
    >>> is_current(date(2024, 2, 29), date(2024, 2, 29))
    True
    """
    return day <= due


def staircase(
    shares_of_limit: Sequence[float],
    months: int,
    policy: IntervalPolicy | None = None,
) -> IntervalAdvice:
    """Propose an interval by the staircase method.

    Parameters
    ----------
    shares_of_limit : sequence of float
        |error| over permissible error as found at each calibration before any
        adjustment, oldest first.
    months : int
        Present interval.
    policy : IntervalPolicy or None
        The laboratory's rules; None for the defaults.

    Returns
    -------
    advice : IntervalAdvice

    Raises
    ------
    TooFew
        If there is no result.
    OutOfDomain
        If a share is negative or the interval below one month.

    References
    ----------
    .. [1] ILAC-G24/OIML D 10:2022, 6.2 Method 1 (automatic adjustment).

    Examples
    --------
    >>> staircase([0.5], 12).months, staircase([0.9], 12).months
    (18, 12)
    """
    rules = policy or IntervalPolicy()
    shares = [non_negative("shares_of_limit", share) for share in shares_of_limit]
    _refuse_months(months)
    if not shares:
        raise TooFew("shares_of_limit is empty; the staircase needs a result.")
    last = shares[-1]
    found = f"found at {last * 100:.3g} % of the permissible error"
    if last > rules.reduce_above:
        proposed = _stepped(months, rules.reduce_factor, rules)
        reason = f"The last calibration {found}, above {rules.reduce_above * 100:g} %"
        return _advice(Advice.REDUCE, months, proposed, reason)
    good = _good_in_a_row(shares, rules.extend_up_to)
    if good >= rules.in_a_row:
        proposed = _stepped(months, rules.extend_factor, rules)
        reason = (
            f"The last {good} calibration(s) found errors within "
            f"{rules.extend_up_to * 100:g} % of the permissible one"
        )
        return _advice(Advice.EXTEND, months, proposed, reason)
    reason = f"The last calibration {found}"
    if good:
        reason += f", good {good} time(s) of {rules.in_a_row} in a row"
    return _advice(Advice.KEEP, months, months, reason)


def interval_from_drift(
    calibrated_on: Sequence[date],
    errors: Sequence[float],
    limit: float,
    months: int,
    policy: IntervalPolicy | None = None,
) -> DriftAdvice:
    """Propose an interval by regression on the drift.

    Parameters
    ----------
    calibrated_on : sequence of date
        Days of the calibrations, three or more, since the last adjustment.
    errors : sequence of float
        As found, in the unit of the limit.
    limit : float
        Permissible error, or the drift that the budgets allow.
    months : int
        Present interval.
    policy : IntervalPolicy or None
        Its shortest and longest interval bound the proposal.

    Returns
    -------
    advice : DriftAdvice
        As many whole months from the last calibration as end on or before the
        date at which the band meets the limit.

    Raises
    ------
    TooFew, BadShape, Degenerate, OutOfDomain
        As `forecast_limit`.

    References
    ----------
    .. [1] ILAC-G24/OIML D 10:2022, 6.3 Method 2 (from the drift).

    Examples
    --------
    >>> days = [date(2021, 3, 1), date(2022, 3, 1), date(2023, 3, 1), date(2024, 3, 1)]
    >>> advice = interval_from_drift(days, [0.2, 0.9, 1.7, 2.3], 4.0, 12)
    >>> advice.months, advice.earliest_on
    (23, datetime.date(2026, 2, 7))
    """
    rules = policy or IntervalPolicy()
    _refuse_months(months)
    days = vector("calibrated_on", [day.toordinal() for day in calibrated_on])
    forecast = forecast_limit(days, errors, limit)
    last = max(calibrated_on)
    earliest_on = _date_after(last, forecast.earliest_time, forecast.last_time)
    proposed = _months_until(last, earliest_on, rules)
    advice = _change(months, proposed)
    told = _advice(advice, months, proposed, forecast.words.rstrip("."))
    return DriftAdvice(
        advice=advice,
        months=proposed,
        previous_months=months,
        expected_on=_date_after(last, forecast.expected_time, forecast.last_time),
        earliest_on=earliest_on,
        forecast=forecast,
        reason=told.reason,
    )


def _good_in_a_row(shares: Sequence[float], up_to: float) -> int:
    """Count the good results at the end of the history."""
    count = 0
    for share in reversed(shares):
        if share > up_to:
            break
        count += 1
    return count


def _stepped(months: int, factor: float, rules: IntervalPolicy) -> int:
    """Step an interval by a factor, at least one month and within the bounds."""
    stepped = math.floor(months * factor + 1e-9)
    stepped = max(stepped, months + 1) if factor > 1.0 else min(stepped, months - 1)
    return min(max(stepped, rules.shortest_months), rules.longest_months)


def _months_until(last: date, earliest: date | None, rules: IntervalPolicy) -> int:
    """Count the whole months that end on or before a date, within the bounds."""
    if earliest is None or due_on(last, rules.longest_months) <= earliest:
        return rules.longest_months
    fitting = [
        months
        for months in range(rules.shortest_months, rules.longest_months + 1)
        if due_on(last, months) <= earliest
    ]
    return max(fitting, default=rules.shortest_months)


def _date_after(last: date, time: float | None, last_time: float) -> date | None:
    """Turn a time in days into a date; farther than any calendar is never."""
    if time is None or time - last_time > (date.max - last).days:
        return None
    return last + timedelta(days=math.floor(time - last_time + 1e-9))


def _change(months: int, proposed: int) -> Advice:
    if proposed == months:
        return Advice.KEEP
    return Advice.EXTEND if proposed > months else Advice.REDUCE


def _advice(wanted: Advice, months: int, proposed: int, reason: str) -> IntervalAdvice:
    """Say what comes of a proposal once the policy's bounds have cut it."""
    advice = _change(months, proposed)
    if advice is not wanted:
        reason += f"; that would {wanted.value} it, but the policy bounds it"
    change = (
        f"keep {months} months"
        if advice is Advice.KEEP
        else f"{advice.value} from {months} to {proposed} months"
    )
    return IntervalAdvice(advice, proposed, months, f"{reason}: {change}.")


def _refuse_months(months: int) -> None:
    if not 1 <= months <= _LONGEST_MONTHS:
        raise OutOfDomain(
            f"months is {months}; an interval has 1 to {_LONGEST_MONTHS} months."
        )
