"""The lowest, highest and mean reading of each minute, for pictures only.

Beside the exact readings of a dense hour stands its envelope, so that a month at one
reading a second is drawn without reading two million of them, and no peak is lost.
For a statement of conformity the readings themselves are used, never an envelope.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from lab.metrology.environment.packing import HOUR_US, MINUTE_US
from lab.metrology.errors import BadShape

__all__ = ["DENSE", "Envelope", "envelope_of", "pack_envelope", "unpack_envelopes"]

#: Hours with more readings than this keep an envelope; of the others the readings
#: themselves are as quickly read.
DENSE: Final = 600
_MINUTES: Final = 60
_COLUMNS: Final = 3


@dataclass(frozen=True, slots=True, eq=False)
class Envelope:
    """Minutes in which there are readings: where each starts, and its extremes."""

    starts_us: NDArray[np.int64]
    lowest: NDArray[np.float64]
    highest: NDArray[np.float64]
    means: NDArray[np.float64]


def envelope_of(times_us: NDArray[np.int64], values: NDArray[np.float64]) -> Envelope:
    """Return the envelope of readings in order; empty minutes are left out.

    Examples
    --------
    >>> found = envelope_of(np.array([0, 30_000_000, 70_000_000]), np.array([1., 3, 5]))
    >>> found.starts_us.tolist(), found.highest.tolist(), found.means.tolist()
    ([0, 60000000], [3.0, 5.0], [2.0, 5.0])
    """
    minutes = times_us // MINUTE_US
    if len(minutes) == 0:
        none = np.zeros(0)
        return Envelope(minutes, none, none, none)
    starts = np.concatenate([[0], np.flatnonzero(np.diff(minutes)) + 1])
    counts = np.diff(starts, append=len(minutes))
    return Envelope(
        starts_us=minutes[starts] * MINUTE_US,
        lowest=np.minimum.reduceat(values, starts),
        highest=np.maximum.reduceat(values, starts),
        means=np.add.reduceat(values, starts) / counts,
    )


def pack_envelope(
    hour: int, times_us: NDArray[np.int64], values: NDArray[np.float64]
) -> bytes:
    """Return the envelope of a dense hour as bytes of fixed length, or no bytes.

    `hour` is the number of hours since the origin of the instants.
    """
    if len(times_us) <= DENSE:
        return b""
    found = envelope_of(times_us, values)
    table = np.full((_MINUTES, _COLUMNS), np.nan)
    rows = (found.starts_us - hour * HOUR_US) // MINUTE_US
    table[rows] = np.column_stack([found.lowest, found.highest, found.means])
    return table.astype("<f8").tobytes()


def unpack_envelopes(hours: Sequence[int], blocks: Sequence[bytes]) -> Envelope:
    """Return the envelopes of dense hours, in the order given, as one."""
    table = np.frombuffer(b"".join(blocks), "<f8").reshape(-1, _COLUMNS)
    if len(table) != _MINUTES * len(hours):
        raise BadShape("An envelope of readings is damaged: its length is wrong.")
    minutes = np.arange(_MINUTES, dtype=np.int64) * MINUTE_US
    starts = (np.array(hours, np.int64)[:, None] * HOUR_US + minutes).reshape(-1)
    known = ~np.isnan(table[:, 0])
    lowest, highest, means = table[known].T
    return Envelope(starts[known], lowest, highest, means)
