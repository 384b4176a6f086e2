"""The rows of a logger's file in large bites: a channel's readings, and what is wrong.

A bite in which everything is in order is read column by column; where it isn't, the
cells of that bite are looked at one by one, and each that is left out is reported.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from itertools import islice
from operator import itemgetter
from typing import IO, Final

import numpy as np
from numpy.typing import NDArray

from lab.environment.logs.layout import Channel, Layout
from lab.environment.logs.report import Report
from lab.environment.logs.times import (
    AMBIGUOUS,
    OFFSET_END,
    SKIPPED,
    many_wall_us,
    placed,
    stated_us,
    wall_us,
    zone_named,
)
from lab.environment.sensors import EARLIEST_US, POSSIBLE
from lab.metrology.errors import BadShape

BITE: Final = 50_000
_NO_NUMBER: Final = frozenset(
    {"nan", "na", "n/a", "null", "none", "-", "--", "---", "inf", "-inf", "error"}
)
_NUMBER: Final = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?", re.ASCII)
_UNREADABLE: Final = 3
_FAULTS: Final = {AMBIGUOUS: "ambiguous", SKIPPED: "skipped", _UNREADABLE: "time"}
#: Steps between rows are counted in tenths of a second.
_TENTH_US: Final = 100_000

_Times = NDArray[np.int64]
_Values = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Series:
    """Good readings of one channel, with the rows they stand in (from 1)."""

    channel: Channel
    rows: _Times
    times_us: _Times
    values: _Values


@dataclass(slots=True)
class Walk:
    """One walk through a file; what is wrong goes to `report` as it is met."""

    layout: Layout
    latest_us: int
    report: Report = field(default_factory=Report)
    last_us: int | None = None

    def bites(self, stream: IO[bytes]) -> Iterator[list[Series]]:
        """Yield the readings of each bite.

        Raises
        ------
        BadShape
            If the text can't be parted into rows any further.
        """
        text = io.TextIOWrapper(
            _bare(stream), encoding=self.layout.encoding, errors="replace", newline=""
        )
        reader = csv.reader(text, delimiter=self.layout.delimiter)
        number = self.layout.first_row
        try:
            for _ in islice(reader, number):
                pass
            while rows := list(islice(reader, BITE)):
                yield self._bite(rows, number + 1)
                number += len(rows)
        except csv.Error as error:
            raise BadShape(
                f"After row {number + 1} the file can't be parted into rows "
                f"({error}). Often a quotation mark is never closed."
            ) from None
        finally:
            text.detach()  # whoever opened the stream closes it

    def _bite(self, rows: list[list[str]], first: int) -> list[Series]:
        self.report.rows += len(rows)
        numbers = np.arange(first, first + len(rows))
        rows, numbers = self._whole_rows(rows, numbers)
        if not rows:
            return []
        texts = self._time_texts(rows)
        times, fault = self._times(texts)
        for code, kind in _FAULTS.items():
            self._report(kind, fault == code, numbers, "", texts)
        good = fault == 0
        for kind, wrong in (
            ("future", good & (times > self.latest_us)),
            ("unset", good & (times < EARLIEST_US)),
        ):
            self._report(kind, wrong, numbers, "", texts)
            good &= ~wrong
        if not good.all():
            kept = np.flatnonzero(good).tolist()
            rows, texts = [rows[i] for i in kept], [texts[i] for i in kept]
            times, numbers = times[good], numbers[good]
        self._count_steps(times, numbers, texts)
        return [self._series(one, rows, numbers, times) for one in self.layout.channels]

    # --- Rows ---------------------------------------------------------------------

    def _whole_rows(
        self, rows: list[list[str]], numbers: _Times
    ) -> tuple[list[list[str]], _Times]:
        widths = np.fromiter(map(len, rows), np.int64, len(rows))
        whole = widths == self.layout.width
        if whole.all():
            return rows, numbers
        for index in np.flatnonzero(~whole).tolist():
            row, number = rows[index], int(numbers[index])
            if not any(cell.strip() for cell in row):
                self.report.add("blank", number)
                continue
            said = f"{len(row)} columns, {self.layout.width} expected"
            self.report.add("ragged", number, "", said)
        return [rows[i] for i in np.flatnonzero(whole).tolist()], numbers[whole]

    # --- Times --------------------------------------------------------------------

    def _time_texts(self, rows: list[list[str]]) -> list[str]:
        columns = self.layout.time_columns
        if len(columns) == 1:
            return list(map(itemgetter(columns[0]), rows))
        return [" ".join(row[column].strip() for column in columns) for row in rows]

    def _times(self, texts: list[str]) -> tuple[_Times, NDArray[np.int8]]:
        """Return instants, and for each 0 or why it has none."""
        zone = zone_named(self.layout.zone or "UTC")
        if self.layout.time_form == "iso":
            wall = many_wall_us(texts)
            if wall is not None and self.layout.zone:
                found = placed(wall, zone)
                return found.times_us, found.fault
        times = np.zeros(len(texts), np.int64)
        fault = np.full(len(texts), _UNREADABLE, np.int8)
        to_place: list[int] = []
        for index, text in enumerate(texts):
            try:
                times[index], needs_zone = self._one_time(text)
            except (ValueError, OverflowError):
                continue
            fault[index] = 0
            if needs_zone:
                to_place.append(index)
        if to_place:
            found = placed(times[to_place], zone)
            times[to_place], fault[to_place] = found.times_us, found.fault
        return times, fault

    def _one_time(self, text: str) -> tuple[int, bool]:
        form = self.layout.time_form
        if form.startswith("epoch"):
            return stated_us(text, form), False
        if form == "iso" and OFFSET_END.search(text.strip()[10:]):
            return stated_us(text, form), False
        if not self.layout.zone:
            raise ValueError(text)
        return wall_us(text, form), True

    def _count_steps(self, times: _Times, numbers: _Times, texts: list[str]) -> None:
        if not len(times):
            return
        before = times[0] if self.last_us is None else self.last_us
        steps = np.diff(times, prepend=before)
        self._report("backward", steps < 0, numbers, "", texts)
        tenths, counts = np.unique(
            (steps + _TENTH_US // 2) // _TENTH_US, return_counts=True
        )
        for tenth, count in zip(tenths.tolist(), counts.tolist(), strict=True):
            self.report.steps[tenth] += count
        self.last_us = int(times[-1])

    # --- Values -------------------------------------------------------------------

    def _series(
        self, channel: Channel, rows: list[list[str]], numbers: _Times, times: _Times
    ) -> Series:
        texts = list(map(itemgetter(channel.column), rows))
        self.report.cells += len(texts)
        name = self.layout.name_of(channel.column)
        values = _many_numbers(texts, self.layout.decimal)
        if values is None:
            values = self._numbers_one_by_one(texts, numbers, name)
        else:
            self._report("nan", ~np.isfinite(values), numbers, name, texts)
        if channel.unit == "°F":
            # To the micro-kelvin: nine digits and an exact way to say them again.
            values = np.round((values - 32.0) / 1.8, 6)
        lowest, highest = POSSIBLE[channel.quantity]
        known = np.isfinite(values)
        wrong = known & ((values < lowest) | (values > highest))
        self._report("range", wrong, numbers, name, texts)
        good = known & ~wrong
        if good.all():
            return Series(channel, numbers, times, values)
        return Series(channel, numbers[good], times[good], values[good])

    def _numbers_one_by_one(
        self, texts: list[str], numbers: _Times, name: str
    ) -> _Values:
        values = np.full(len(texts), np.nan)
        for index, text in enumerate(texts):
            kind, value = _number(text, self.layout.decimal)
            if kind:
                self.report.add(kind, int(numbers[index]), name, text)
            else:
                values[index] = value
        return values

    def _report(
        self,
        kind: str,
        wrong: NDArray[np.bool_],
        numbers: _Times,
        column: str,
        texts: list[str],
    ) -> None:
        for index in np.flatnonzero(wrong).tolist():
            self.report.add(kind, int(numbers[index]), column, texts[index])


def _bare(stream: IO[bytes]) -> IO[bytes]:
    """Return the file within a file: asking the outer one at every line is dear."""
    inner: object = getattr(stream, "file", None)
    return inner if isinstance(inner, io.BufferedReader) else stream


def _many_numbers(texts: list[str], decimal: str) -> _Values | None:
    """Read many numbers at once; None if any needs to be looked at by itself."""
    together = "\n".join(texts)
    # Python reads 1_000 and digits of other scripts; a logger doesn't write them.
    if "_" in together or not together.isascii():
        return None
    if decimal == ",":
        if "." in together:
            return None
        texts = together.replace(",", ".").split("\n")
    try:
        return np.array(list(map(float, texts)))
    except ValueError:
        return None


def _number(text: str, decimal: str) -> tuple[str, float]:
    """Return what is wrong with a cell, or nothing and its number."""
    typed = text.strip().replace("\N{MINUS SIGN}", "-")
    if not typed:
        return "missing", 0.0
    if typed.casefold() in _NO_NUMBER:
        return "nan", 0.0
    if decimal == ",":
        typed = typed.replace(".", "?").replace(",", ".")
    if not _NUMBER.fullmatch(typed):
        return "number", 0.0
    value = float(typed)
    return ("", value) if np.isfinite(value) else ("nan", 0.0)
