"""Run rules: patterns that chance rarely makes while nothing has changed.

Two sets that must not be mixed. Western Electric has four rules, with eight
values in a row on one side; Nelson has eight, with nine in a row.

Readings that the texts leave open: a value exactly on a line is not beyond it,
and one on the centre line is on neither side. Two of three, and four of five,
are signalled at the value that completes them, which must itself lie beyond the
line. "Six in a row increasing" is six values, five rises. Nelson's eighth rule,
"on both sides", wants at least one value on either side.

Every rule added finds a change sooner and cries wolf more often: one in 370
values for the first rule alone, about one in 92 for the four of Western Electric
(Champ and Woodall 1987).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import ArrayLike, NDArray

from lab.metrology.arrays import vector
from lab.metrology.charts.baseline import Baseline
from lab.metrology.errors import OutOfDomain

__all__ = ["Signal", "nelson", "signals", "western_electric"]

_Fired = NDArray[np.bool_]
_Test = Callable[[NDArray[np.float64]], _Fired]


@dataclass(frozen=True, slots=True)
class Signal:
    """One rule that fired: at the value `index`, over the `run` values up to it."""

    rule: int
    index: int
    run: int
    words: str


@dataclass(frozen=True, slots=True)
class _Rule:
    number: int
    run: int
    words: str
    test: _Test


def western_electric(z: ArrayLike) -> tuple[Signal, ...]:
    """Apply the four Western Electric rules.

    Parameters
    ----------
    z : array_like, shape (N,)
        Values as multiples of sigma from the centre line, in the order of time,
        from one phase (`Baseline.standardised`).

    Returns
    -------
    signals : tuple of Signal
        In the order of time, then of the rules.

    References
    ----------
    .. [1] Western Electric Co., Statistical Quality Control Handbook (1956).
    .. [2] NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.

    Examples
    --------
    >>> [(each.rule, each.index) for each in western_electric([0.0, 2.1, -0.5, 2.2])]
    [(2, 3)]
    """
    return _apply(_WESTERN_ELECTRIC, z)


def nelson(z: ArrayLike) -> tuple[Signal, ...]:
    """Apply Nelson's eight rules.

    Parameters
    ----------
    z : array_like, shape (N,)
        As for `western_electric`.

    Returns
    -------
    signals : tuple of Signal
        In the order of time, then of the rules.

    References
    ----------
    .. [1] Nelson, L. S. (1984). The Shewhart control chart: tests for special
       causes. J. Quality Technology 16, 237-239.

    Examples
    --------
    >>> nelson([0.1, -0.2, 0.3])
    ()
    """
    return _apply(_NELSON, z)


def signals(
    values: ArrayLike,
    baseline: Baseline,
    rules: Callable[[ArrayLike], tuple[Signal, ...]] = western_electric,
    *,
    starts: Sequence[int] = (),
) -> tuple[Signal, ...]:
    """Apply a set of rules to a chart, with no run across a break.

    Parameters
    ----------
    values : array_like, shape (N,)
        In the unit of the baseline, in the order of time.
    baseline : Baseline
        What they are judged against.
    rules : callable
        `western_electric` or `nelson`.
    starts : sequence of int
        Indices of first values after a break.

    Returns
    -------
    signals : tuple of Signal
        Indices count in `values`.

    Examples
    --------
    >>> steady = Baseline(0.0, 1.0, 25)
    >>> len(signals([0.5] * 10, steady)), len(signals([0.5] * 10, steady, starts=[5]))
    (3, 0)
    """
    z = baseline.standardised(values)
    edges = sorted({0, *starts, len(z)})
    if edges[0] < 0 or edges[-1] > len(z):
        raise OutOfDomain(f"starts names a value outside the {len(z)} that there are.")
    found: list[Signal] = []
    for start, stop in pairwise(edges):
        found.extend(
            Signal(each.rule, each.index + start, each.run, each.words)
            for each in rules(z[start:stop])
        )
    return tuple(found)


def _apply(rules: Sequence[_Rule], z: ArrayLike) -> tuple[Signal, ...]:
    values = vector("z", z, minimum=0)
    found = [
        Signal(rule.number, int(index), rule.run, rule.words)
        for rule in rules
        for index in np.flatnonzero(rule.test(values))
    ]
    return tuple(sorted(found, key=lambda each: (each.index, each.rule)))


def _over_windows(
    marks: NDArray[np.bool_], run: int, enough: int, *, ends_in: bool
) -> _Fired:
    """Say where the last `run` marks hold `enough`; shorter starts count too."""
    if len(marks) < enough:
        return np.zeros(len(marks), dtype=np.bool_)
    padded = np.concatenate([np.zeros(run - 1, dtype=np.bool_), marks])
    fired = sliding_window_view(padded, run).sum(axis=1) >= enough
    return np.asarray(fired & marks if ends_in else fired, dtype=np.bool_)


def _beyond(sigmas: float, enough: int, run: int) -> _Test:
    def test(z: NDArray[np.float64]) -> _Fired:
        high = _over_windows(z > sigmas, run, enough, ends_in=True)
        low = _over_windows(z < -sigmas, run, enough, ends_in=True)
        return np.asarray(high | low, dtype=np.bool_)

    return test


def _alternating(run: int) -> _Test:
    def test(z: NDArray[np.float64]) -> _Fired:
        steps = np.sign(np.diff(z))
        turns = np.zeros(len(z), dtype=np.bool_)
        turns[2:] = steps[1:] * steps[:-1] < 0
        return _over_windows(turns, run - 2, run - 2, ends_in=True)

    return test


def _monotonic(run: int) -> _Test:
    def test(z: NDArray[np.float64]) -> _Fired:
        steps = np.zeros(len(z))
        steps[1:] = np.diff(z)
        up = _over_windows(steps > 0, run - 1, run - 1, ends_in=True)
        down = _over_windows(steps < 0, run - 1, run - 1, ends_in=True)
        return np.asarray(up | down, dtype=np.bool_)

    return test


def _within(sigmas: float, run: int) -> _Test:
    def test(z: NDArray[np.float64]) -> _Fired:
        return _over_windows(np.abs(z) < sigmas, run, run, ends_in=True)

    return test


def _outside_both(sigmas: float, run: int) -> _Test:
    def test(z: NDArray[np.float64]) -> _Fired:
        outside = _over_windows(np.abs(z) > sigmas, run, run, ends_in=True)
        high = _over_windows(z > sigmas, run, 1, ends_in=False)
        low = _over_windows(z < -sigmas, run, 1, ends_in=False)
        return np.asarray(outside & high & low, dtype=np.bool_)

    return test


_WESTERN_ELECTRIC: Final = (
    _Rule(1, 1, "one value beyond 3 sigma", _beyond(3.0, 1, 1)),
    _Rule(2, 3, "two of three values beyond 2 sigma, one side", _beyond(2.0, 2, 3)),
    _Rule(3, 5, "four of five values beyond 1 sigma, one side", _beyond(1.0, 4, 5)),
    _Rule(4, 8, "eight values in a row on one side", _beyond(0.0, 8, 8)),
)

_NELSON: Final = (
    _Rule(1, 1, "one value beyond 3 sigma", _beyond(3.0, 1, 1)),
    _Rule(2, 9, "nine values in a row on one side", _beyond(0.0, 9, 9)),
    _Rule(3, 6, "six values in a row rising or falling", _monotonic(6)),
    _Rule(4, 14, "fourteen values in a row alternating", _alternating(14)),
    _Rule(5, 3, "two of three values beyond 2 sigma, one side", _beyond(2.0, 2, 3)),
    _Rule(6, 5, "four of five values beyond 1 sigma, one side", _beyond(1.0, 4, 5)),
    _Rule(7, 15, "fifteen values in a row within 1 sigma", _within(1.0, 15)),
    _Rule(
        8, 8, "eight values in a row beyond 1 sigma, both sides", _outside_both(1.0, 8)
    ),
)
