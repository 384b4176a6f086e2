"""Sorted instants of many rows in one array, and searching in all of them at once.

The instants of each row (a procedure of a system, say) are moved to a stretch of
integers of their own, ``row * span + instant - origin``. One sorted array then holds
every row, and one binary search answers a question about every row.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lab.metrology.bracketing.facts import FOREVER
from lab.metrology.errors import OutOfDomain

__all__ = ["Axis", "Spans", "in_order", "ranges"]

Integers = NDArray[np.int64]

_LARGEST = 1 << 62


@dataclass(frozen=True, slots=True)
class Axis:
    """Where each row's instants are put.

    `origin` lies two before the first instant and `span` reaches past the last, so
    that a row's first value, its `base`, stands for "before all" and its last one for
    "after all".
    """

    origin: int
    span: int

    @classmethod
    def over(cls, rows: int, *instants: Integers) -> Axis:
        """Return an axis for rows with these instants."""
        low = min((int(each.min()) for each in instants if len(each)), default=0)
        high = max((_last_finite(each) for each in instants), default=low)
        high = max(high, low)
        span = high - low + 5
        if rows * span > _LARGEST:
            raise OutOfDomain(
                f"{rows} rows over {span / 3.15576e13:.0f} years are too many at once; "
                "judge a part of the systems at a time."
            )
        return cls(low - 2, span)

    def base(self, row: Integers) -> Integers:
        """Return what stands for "before all" in a row."""
        return np.asarray(row * self.span)

    def key(self, row: Integers, instant: Integers) -> Integers:
        """Return the keys of instants; `FOREVER` becomes the row's last value."""
        key = np.asarray(instant - self.origin)
        np.minimum(key, self.span - 1, out=key)
        key += row * self.span
        return key

    def instant(self, row: Integers, key: Integers) -> Integers:
        """Return the instants of keys."""
        offset = key - row * self.span
        return np.asarray(
            np.where(offset >= self.span - 1, FOREVER, offset + self.origin)
        )


def _last_finite(instants: Integers) -> int:
    last = int(instants.max(initial=-FOREVER))
    if last < FOREVER:
        return last
    return int(instants[instants < FOREVER].max(initial=-FOREVER))


def in_order(first: Integers, *others: Integers) -> Integers | None:
    """Return the order that sorts by several keys, None if they are in it already.

    The order is stable: what is equal in all keys keeps its place. Records usually
    arrive in order of time, and seeing that is much cheaper than sorting.
    """
    if not others:
        if bool(np.all(first[1:] >= first[:-1])):
            return None
        return first.argsort(kind="stable")
    if bool(np.all(first[1:] > first[:-1])):
        return None
    return np.lexsort((*reversed(others), first))


def ranges(starts: Integers, stops: Integers) -> tuple[Integers, Integers]:
    """Return every index from each start up to its stop, and whose it is.

    A range whose stop is not above its start is empty.
    """
    counts = np.maximum(stops - starts, 0)
    owner = np.repeat(np.arange(len(counts)), counts)
    within = np.arange(len(owner)) - np.repeat(np.cumsum(counts) - counts, counts)
    return starts[owner] + within, owner


@dataclass(frozen=True, slots=True)
class Spans:
    """Half-open spans of keys, sorted by their ends, with their numbers.

    `lowest` is the least start of a span and all after it, so that it is sorted as
    well even where spans overlap.
    """

    low: Integers
    high: Integers
    number: Integers
    lowest: Integers

    @classmethod
    def of(cls, low: Integers, high: Integers, number: Integers) -> Spans:
        """Sort spans that are given in any order."""
        order = in_order(high)
        if order is not None:
            low, high, number = low[order], high[order], number[order]
        # Spans that do not contain one another start in the order in which they end.
        lowest = low
        if in_order(low) is not None:
            lowest = np.minimum.accumulate(low[::-1])[::-1]
        return cls(low, high, number, lowest)

    def touching(
        self,
        first: Integers,
        last: Integers,
        *,
        at_first: bool = False,
        after: Integers | None = None,
    ) -> tuple[Integers, Integers]:
        """Return the spans that touch stretches of keys, and whose they are.

        A span touches if it ends after `first` and starts before `last`, or, with
        `at_first`, if it starts at or before `first`, which tells for an empty
        stretch. Where the place of the first span that ends after `first` is known, it
        may be given as `after`.
        """
        if after is None:
            after = np.searchsorted(self.high, first, side="right")
        limit = np.maximum(last, first + 1) if at_first else last
        # Most stretches end before the next span begins and need no second search.
        if not len(self.lowest):
            return np.empty(0, dtype=np.int64), np.empty(0, dtype=np.int64)
        lowest = self.lowest.take(after, mode="clip")
        which = np.flatnonzero((lowest < limit) & (after < len(self.lowest)))
        limit = limit[which]
        stops = np.searchsorted(self.lowest, limit, side="left")
        found, owner = ranges(after[which], stops)
        real = self.low[found] < limit[owner]
        return found[real], which[owner[real]]
