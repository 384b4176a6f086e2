"""A sorted collection in which one change costs the same however long it is.

Items stand in buckets of bounded size, so that an insertion moves a few hundred
entries and not the archive; a search is a bisection over the buckets' last items and
one inside a bucket.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Iterator
from typing import Any, Generic, TypeVar

__all__ = ["Ordered"]

Value = TypeVar("Value")
Entry = tuple[int, int, str, Value]
"""Sorted by an instant, then by a second one, then by the key."""

_FILL = 256
_MOST = 2 * _FILL


class Ordered(Generic[Value]):
    """Values sorted by two instants and a key, none of which occurs twice together."""

    def __init__(self, entries: Iterable[Entry[Value]] = ()) -> None:
        """Take entries in any order."""
        listed = sorted(entries, key=lambda entry: entry[:3])
        self._buckets = [
            listed[start : start + _FILL] for start in range(0, len(listed), _FILL)
        ]
        self._last = [bucket[-1][:3] for bucket in self._buckets]

    def __len__(self) -> int:
        """Return how many values there are."""
        return sum(len(bucket) for bucket in self._buckets)

    def add(self, first: int, second: int, key: str, value: Value) -> None:
        """Put a value in its place."""
        entry = (first, second, key, value)
        if not self._buckets:
            self._buckets, self._last = [[entry]], [entry[:3]]
            return
        number = min(bisect_left(self._last, entry[:3]), len(self._last) - 1)
        bucket = self._buckets[number]
        bucket.insert(bisect_left(bucket, entry[:3], key=_place), entry)
        if len(bucket) > _MOST:
            self._buckets[number : number + 1] = [bucket[:_FILL], bucket[_FILL:]]
            self._last[number : number + 1] = [bucket[_FILL - 1][:3], bucket[-1][:3]]
        else:
            self._last[number] = bucket[-1][:3]

    def remove(self, first: int, second: int, key: str) -> None:
        """Take a value out; a missing one raises KeyError."""
        wanted = (first, second, key)
        number = bisect_left(self._last, wanted)
        if number < len(self._last):
            bucket = self._buckets[number]
            index = bisect_left(bucket, wanted, key=_place)
            if index < len(bucket) and bucket[index][:3] == wanted:
                del bucket[index]
                if bucket:
                    self._last[number] = bucket[-1][:3]
                else:
                    del self._buckets[number], self._last[number]
                return
        raise KeyError(wanted)

    def from_instant(self, instant: int) -> Iterator[Value]:
        """Yield the values whose first instant is not before this one, forwards."""
        number = bisect_left(self._last, (instant,))
        if number == len(self._buckets):
            return
        index = bisect_left(self._buckets[number], instant, key=_first)
        for later in range(number, len(self._buckets)):
            for entry in self._buckets[later][index:]:
                yield entry[3]
            index = 0

    def up_to_instant(self, instant: int) -> Iterator[Value]:
        """Yield the values whose first instant is not after this one, backwards."""
        number = bisect_left(self._last, (instant + 1,))
        if number < len(self._buckets):
            bucket = self._buckets[number]
            for entry in reversed(bucket[: bisect_right(bucket, instant, key=_first)]):
                yield entry[3]
        for earlier in range(number - 1, -1, -1):
            for entry in reversed(self._buckets[earlier]):
                yield entry[3]


def _place(entry: Entry[Any]) -> tuple[int, int, str]:
    return entry[:3]


def _first(entry: Entry[Any]) -> int:
    return entry[0]
