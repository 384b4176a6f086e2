"""An hour of readings as one block of bytes, exact to the last bit.

A logger writes its instants at a steady step and its values with a few decimals. So
the second differences of the instants and the first differences of the values, taken
as whole numbers of their last decimal, are small and mostly alike, and deflate
(RFC 1951) makes little of them: about two bytes a reading. A value that is no such
whole number sends the whole hour to plain floats; nothing is ever rounded.
"""

from __future__ import annotations

import struct
import zlib
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lab.metrology.arrays import same_length, vector
from lab.metrology.errors import BadShape, OutOfDomain

__all__ = [
    "HOUR_US",
    "MINUTE_US",
    "MergedReadings",
    "merged_readings",
    "pack_readings",
    "unpack_readings",
]

HOUR_US: Final = 3_600_000_000
MINUTE_US: Final = 60_000_000

_Times = NDArray[np.int64]
_Values = NDArray[np.float64]
#: How the payload is kept, scale (-1 for floats), widths of times and values, count.
_HEAD: Final = struct.Struct("<BbBBI")
_DEFLATED: Final = 1
_PLAIN: Final = 2
#: Below this many bytes deflate saves little and costs most of the time.
_SHORT: Final = 160
_FLOATS: Final = -1
_POWERS: Final = tuple(10.0**decimals for decimals in range(10))
#: Beyond this not every whole number is a float.
_LARGEST_WHOLE: Final = 2.0**53
_WIDTHS: Final = (1, 2, 4, 8)


@dataclass(frozen=True, slots=True, eq=False)
class MergedReadings:
    """What is kept after new readings were laid over old ones.

    `is_fresh` marks which of the new ones, in the order given, were added; of an
    instant that holds another value already, `conflicting` are the places among the
    new ones and `kept` the values that stay.
    """

    times_us: _Times
    values: _Values
    is_fresh: NDArray[np.bool_]
    conflicting: NDArray[np.intp]
    kept: _Values

    @property
    def added(self) -> int:
        """How many readings were added."""
        return int(self.is_fresh.sum())

    @property
    def repeated(self) -> int:
        """How many were there already, with the same value."""
        return len(self.is_fresh) - self.added - len(self.conflicting)


def pack_readings(times_us: ArrayLike, values: ArrayLike) -> bytes:
    """Return readings as a block of bytes.

    Parameters
    ----------
    times_us : array_like of int, shape (N,)
        Instants in µs since any origin, rising strictly.
    values : array_like, shape (N,)
        Finite.

    Returns
    -------
    block : bytes

    Raises
    ------
    BadShape, NotFinite, OutOfDomain
        If the arrays differ in length, hold NaN, or times don't rise.

    Examples
    --------
    >>> block = pack_readings([0, 1_000_000, 2_000_000], [20.1, 20.1, 20.2])
    >>> times, values = unpack_readings(block)
    >>> times.tolist(), values.tolist()
    ([0, 1000000, 2000000], [20.1, 20.1, 20.2])
    """
    times = whole_numbers("times_us", times_us)
    series = vector("values", values, minimum=0)
    same_length(times_us=times, values=series)
    if np.any(times[1:] <= times[:-1]):
        raise OutOfDomain("times_us does not rise strictly; put it in order first.")
    # Differences of whole numbers wrap around, and sums wrap back.
    steps = times[1:] - times[:-1]
    bends = steps[1:] - steps[:-1]
    scale, whole = _as_whole_numbers(series)
    firsts = [*times[:1], *steps[:1], *(whole[:1] if scale >= 0 else [])]
    if scale >= 0:
        value_width, tail = _narrowest(whole[1:] - whole[:-1])
    else:
        # Byte planes: the exponents of a room's temperatures are nearly all the same.
        value_width = 8
        tail = series.astype("<f8").view(np.uint8).reshape(-1, 8).T.tobytes()
    time_width, bent = _narrowest(bends)
    payload = np.array(firsts, dtype="<i8").tobytes() + bent + tail
    kept = _PLAIN if len(payload) < _SHORT else _DEFLATED
    head = _HEAD.pack(kept, scale, time_width, value_width, len(times))
    return head + (payload if kept == _PLAIN else zlib.compress(payload, 6))


def unpack_readings(block: bytes) -> tuple[_Times, _Values]:
    """Return the instants, in µs, and the values of a block.

    Raises
    ------
    BadShape
        If it isn't a whole block of `pack_readings`.
    """
    try:
        kept, scale, time_width, value_width, count = _HEAD.unpack_from(block)
        payload = block[_HEAD.size :]
        if kept == _DEFLATED:
            payload = zlib.decompress(payload)
    except (struct.error, zlib.error) as error:
        raise BadShape(f"The block of readings is damaged: {error}.") from None
    if kept not in (_DEFLATED, _PLAIN) or scale >= len(_POWERS):
        raise BadShape(f"The block of readings is of the unknown form {kept}.")
    firsts = min(count, 2) + (1 if scale >= 0 and count else 0)
    bends = max(count - 2, 0) * time_width
    tail = max(count - 1, 0) * value_width if scale >= 0 else count * 8
    if len(payload) != firsts * 8 + bends + tail:
        raise BadShape("The block of readings is damaged: its length is wrong.")
    first = np.frombuffer(payload, "<i8", firsts)
    times = _times_from(
        first, count, np.frombuffer(payload[8 * firsts :][:bends], f"<i{time_width}")
    )
    rest = payload[8 * firsts + bends :]
    if scale < 0:
        planes = np.frombuffer(rest, np.uint8).reshape(8, count)
        return times, np.ascontiguousarray(planes.T).view("<f8").reshape(count)
    whole = np.zeros(count, np.int64)
    if count:
        whole[0] = first[-1]
        whole[1:] = np.frombuffer(rest, f"<i{value_width}")
    return times, _divided(np.cumsum(whole), scale)


def merged_readings(
    kept_times_us: _Times, kept_values: _Values, times_us: _Times, values: _Values
) -> MergedReadings:
    """Lay new readings over those that are kept; none of these ever changes.

    Parameters
    ----------
    kept_times_us, kept_values : ndarray, shape (N,)
        In order, no instant twice.
    times_us, values : ndarray, shape (M,)
        In any order, with repeats. Of several at one instant the first counts.

    Returns
    -------
    merged : MergedReadings

    Examples
    --------
    >>> kept = np.array([0, 60]), np.array([20.0, 20.1])
    >>> found = merged_readings(*kept, np.array([60, 60, 120]), np.array([20.1, 9, 8]))
    >>> found.times_us.tolist(), found.added, found.repeated, found.kept.tolist()
    ([0, 60, 120], 1, 1, [20.1])
    """
    order = np.argsort(times_us, kind="stable")
    times, series = times_us[order], values[order]
    leads = np.diff(times, prepend=times[:1] - 1) != 0
    lead_values = series[leads][np.cumsum(leads) - 1]
    if len(kept_times_us):
        place = np.searchsorted(kept_times_us, times)
        place = np.minimum(place, len(kept_times_us) - 1)
        is_kept = kept_times_us[place] == times
        expected = np.where(is_kept, kept_values[place], lead_values)
    else:
        is_kept, expected = np.zeros(len(times), np.bool_), lead_values
    fresh, conflicts = leads & ~is_kept, np.flatnonzero(series != expected)
    is_fresh = np.zeros(len(times), np.bool_)
    is_fresh[order[fresh]] = True
    all_times = np.concatenate([kept_times_us, times[fresh]])
    together = np.argsort(all_times, kind="stable")
    return MergedReadings(
        times_us=all_times[together],
        values=np.concatenate([kept_values, series[fresh]])[together],
        is_fresh=is_fresh,
        conflicting=order[conflicts],
        kept=expected[conflicts],
    )


def whole_numbers(name: str, numbers: ArrayLike) -> _Times:
    """Return a row of whole numbers as int64, or refuse it."""
    array = np.asarray(numbers)
    if array.ndim != 1 or (array.size and not np.issubdtype(array.dtype, np.integer)):
        raise BadShape(f"{name} must be a row of whole numbers.")
    return array.astype(np.int64, copy=False)


def _times_from(first: _Times, count: int, bends: NDArray[np.signedinteger]) -> _Times:
    times = np.zeros(count, np.int64)
    if count:
        times[0] = first[0]
    if count > 1:
        steps = np.empty(count - 1, np.int64)
        steps[0], steps[1:] = first[1], bends
        times[1:] = np.cumsum(steps)
    return np.cumsum(times)


def _as_whole_numbers(values: _Values) -> tuple[int, _Times]:
    """Return how many decimals make every value whole, and the whole numbers.

    The test is the way back itself, bit by bit: -0.0 and 0.1 + 0.2 don't pass.
    """
    if len(values) == 0:
        return 0, np.zeros(0, np.int64)
    bits = values.view(np.int64)
    first, peak = float(values[0]), float(np.abs(values).max())
    for scale, power in enumerate(_POWERS):
        if peak * power >= _LARGEST_WHOLE:
            break
        if round(first * power) / power != first:
            continue  # one value settles it for most scales
        whole = np.rint(values * power).astype(np.int64)
        if np.array_equal(_divided(whole, scale).view(np.int64), bits):
            return scale, whole
    return _FLOATS, np.zeros(0, np.int64)


def _divided(whole: _Times, scale: int) -> _Values:
    return np.asarray(whole / _POWERS[scale], dtype=np.float64)


def _narrowest(numbers: _Times) -> tuple[int, bytes]:
    """Return the fewest bytes that hold each number, and the numbers so written."""
    low, high = (int(numbers.min()), int(numbers.max())) if len(numbers) else (0, 0)
    width = next(
        w for w in _WIDTHS if -(1 << 8 * w - 1) <= low and high < 1 << 8 * w - 1
    )
    return width, numbers.astype(f"<i{width}").tobytes()
