"""What a logger's file looks like: how it is written, and which column is what."""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass, replace
from typing import Any, Final

from lab.common.jsontext import canonical_text

#: How times are written: key and how a person reads it.
TIME_FORMS: Final = {
    "iso": "2026-07-31 15:40:00 (ISO 8601)",
    "dmy": "31/07/2026 15:40 (day first)",
    "mdy": "07/31/2026 3:40 PM (month first)",
    "ymd": "2026/07/31 15:40 (year first)",
    "epoch_s": "1785512400 (seconds since 1970, UTC)",
    "epoch_ms": "1785512400000 (milliseconds since 1970, UTC)",
}
DELIMITERS: Final = {",": "comma", ";": "semicolon", "\t": "tab", "|": "bar"}
ENCODINGS: Final = {
    "utf-8-sig": "UTF-8",
    "utf-16": "UTF-16",
    "cp1252": "Windows-1252",
}
UNITS: Final = {"temperature": ("°C", "°F"), "humidity": ("%",)}


@dataclass(frozen=True, slots=True)
class Channel:
    """A column of readings: its place in a row, its sensor's tag, what it measures."""

    column: int
    sensor: str
    quantity: str
    unit: str


@dataclass(frozen=True, slots=True)
class Layout:
    """How to read a file. Columns are counted from 0 in the rows of readings.

    `header_row` is the row of names, from 0, or -1 where there is none; rows before
    it are the logger's own preamble. `names_missing` says how many names the header
    has too few: the first columns of the readings have none. An empty `zone` goes
    with times that state their offset.
    """

    encoding: str
    delimiter: str
    decimal: str
    header_row: int
    names: tuple[str, ...]
    names_missing: int
    width: int
    time_columns: tuple[int, ...]
    time_form: str
    zone: str
    channels: tuple[Channel, ...] = ()

    @property
    def first_row(self) -> int:
        """The number, from 0, of the first row of readings."""
        return self.header_row + 1

    def name_of(self, column: int) -> str:
        """Return what the header calls a column, or its number from 1."""
        place = column - self.names_missing
        if 0 <= place < len(self.names) and self.names[place].strip():
            return self.names[place].strip()
        return f"column {column + 1}"

    def to_text(self) -> str:
        return canonical_text(asdict(self))

    def fits(self, other: Layout) -> bool:
        """Tell whether a file that looks like `other` may be read by this."""
        mine, theirs = self._look(), other._look()
        return mine == theirs

    def _look(self) -> tuple[Any, ...]:
        return (self.delimiter, self.names, self.names_missing, self.width)

    def with_place_of(self, other: Layout) -> Layout:
        """Return this layout with the encoding and header row found in a file."""
        return replace(self, encoding=other.encoding, header_row=other.header_row)


def layout_from(text: str) -> Layout:
    """Return the layout that `Layout.to_text` wrote."""
    fields = json.loads(text)
    channels = tuple(Channel(**one) for one in fields.pop("channels"))
    for name in ("names", "time_columns"):
        fields[name] = tuple(fields[name])
    return Layout(channels=channels, **fields)
