"""A first look at a logger's file: what it seems to be, for a person to confirm.

Nothing is read by a guess alone. Where the file leaves two readings open (01/02/2026
is in January or in February), the guess stays empty and says so.
"""

from __future__ import annotations

import codecs
import csv
import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

from lab.environment.logs.layout import Channel, Layout
from lab.environment.logs.times import OFFSET_END, stated_us, wall_us
from lab.metrology.errors import BadShape

#: How much of a file's beginning and end is looked at, in bytes.
SAMPLE: Final = 256 * 1024
SHOWN: Final = 8
_LOOKED_AT: Final = 400
_NUMBER: Final = re.compile(r"[+-]?\d+(?:[.,]\d+)?(?:[eE][+-]?\d+)?", re.ASCII)
_COMMA: Final = re.compile(r"[+-]?\d+,\d+", re.ASCII)
_HAS_HOUR: Final = re.compile(r"\d:\d\d|T\d\d", re.ASCII)
_CLOCK_ONLY: Final = re.compile(r"\d{1,2}:\d\d(:\d\d)?(\.\d+)?( ?[AaPp]\.?[Mm]\.?)?")
_TWO_PARTS: Final = re.compile(r"(\d{1,2})[./-](\d{1,2})[./-]\d{2,4}")
_TEMPERATURE: Final = re.compile(r"temp|°|\bt\d*\b|celsius|fahrenheit|deg", re.I)
_HUMIDITY: Final = re.compile(r"hum|\brh|feucht|%", re.I)
_FAHRENHEIT: Final = re.compile(r"°\s*F|deg\s*F|fahrenheit|\(F\)|\[F\]|_F\b", re.I)
_CELSIUS: Final = re.compile(r"°\s*C|deg\s*C|celsius|\(C\)|\[C\]|_C\b", re.I)
#: A room above this is no room in °C, and cool in °F (common practice, no source).
_HOT: Final = 45.0
_MOSTLY: Final = 0.9


@dataclass(frozen=True, slots=True)
class Guess:
    """What a file seems to be, its first rows, and what a person must look at."""

    layout: Layout
    rows: tuple[tuple[str, ...], ...]
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Wish:
    """What a person said already of how the file is written; empty is not said."""

    delimiter: str = ""
    header_row: int | None = None


def guess(
    head: bytes,
    tail: bytes = b"",
    *,
    zone: str,
    sensors: Sequence[str] = (),
    wish: Wish | None = None,
) -> Guess:
    """Look at the beginning and the end of a file.

    Parameters
    ----------
    head, tail : bytes
        The first and, of a longer file, the last bytes; half a line is no harm.
    zone : str
        The zone to begin with where times don't state their offset.
    sensors : sequence of str
        Tags of the lab's sensors, looked for in the names of columns.
    wish : Wish, optional
        What a person said instead of what would be guessed.

    Raises
    ------
    BadShape
        If there are no rows with a time and a number in them.
    """
    wish = wish or Wish()
    encoding = _encoding(head)
    lines = _lines(head, encoding)
    delimiter = wish.delimiter or _delimiter(lines)
    rows = _rows(lines, delimiter)
    width = _usual_width(rows)
    first = _first_row(rows, width, wish)
    data = [row for row in rows[first:] if len(row) == width]
    names = rows[first - 1] if first and any(rows[first - 1]) else []
    # Half a row at the start of the end is shorter or longer, or fits by chance.
    end = _rows(_lines(tail, encoding, whole=False)[1:], delimiter)
    more = data[:_LOOKED_AT] + [row for row in end if len(row) == width][-_LOOKED_AT:]
    columns = list(zip(*more, strict=True))
    time_columns, time_form, notes = _time_columns(columns)
    layout = Layout(
        encoding=encoding,
        delimiter=delimiter,
        decimal="," if any(map(_COMMA.fullmatch, _cells(columns))) else ".",
        header_row=first - 1,
        names=tuple(name.strip() for name in names),
        names_missing=max(width - len(names), 0) if names else 0,
        width=width,
        time_columns=time_columns,
        time_form=time_form,
        zone=zone,
    )
    notes += _header_notes(layout, first)
    channels, more_notes = _channels(layout, columns, sensors)
    return Guess(
        layout=replace(layout, channels=channels),
        rows=tuple(tuple(row) for row in rows[first : first + SHOWN]),
        notes=tuple(notes + more_notes),
    )


# --- How it is written ----------------------------------------------------------------


def _encoding(head: bytes) -> str:
    if head.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        return "utf-16"
    try:
        codecs.getincrementaldecoder("utf-8")().decode(head)
    except UnicodeDecodeError:
        return "cp1252"
    return "utf-8-sig"


def _lines(blob: bytes, encoding: str, *, whole: bool = True) -> list[str]:
    if encoding == "utf-16" and not whole:
        return []  # half a character could stand at its start
    lines = blob.decode(encoding, errors="replace").splitlines()
    is_cut = len(blob) >= SAMPLE and whole
    return lines[:-1] if is_cut and len(lines) > 1 else lines


def _delimiter(lines: list[str]) -> str:
    """Return the sign that parts most rows alike into numbers and times."""
    best, best_score = "", 0.0
    for sign in (";", "\t", "|", ","):
        rows = [row for row in _rows(lines[:_LOOKED_AT], sign) if row]
        width, count = Counter(map(len, rows)).most_common(1)[0] if rows else (0, 0)
        if width < 2:
            continue
        cells = [cell.strip() for row in rows if len(row) == width for cell in row]
        plain = sum(1 for cell in cells if _is_plain(cell))
        score = count / len(rows) * plain / len(cells)
        if score > best_score:
            best, best_score = sign, score
    if not best:
        raise BadShape(
            "No columns were found: rows must be parted by commas, semicolons, tabs "
            "or bars, with a time and a number in each."
        )
    return best


def _is_plain(cell: str) -> bool:
    return bool(_NUMBER.fullmatch(cell)) or bool(_time_form([cell]))


def _rows(lines: list[str], delimiter: str) -> list[list[str]]:
    try:
        return list(csv.reader(lines, delimiter=delimiter))
    except csv.Error as error:
        raise BadShape(f"The file can't be parted into rows: {error}.") from None


def _usual_width(rows: list[list[str]]) -> int:
    widths = Counter(len(row) for row in rows if any(row))
    if not widths:
        raise BadShape("The file holds no rows.")
    return widths.most_common(1)[0][0]


def _first_row(rows: list[list[str]], width: int, wish: Wish) -> int:
    """Return the number of the first row of readings: with a time and a number."""
    if wish.header_row is not None:
        return min(wish.header_row + 1, max(len(rows) - 1, 0))
    for number, row in enumerate(rows):
        cells = [cell.strip() for cell in row]
        has_number = any(_NUMBER.fullmatch(cell) for cell in cells)
        has_time = any(_date_form(cell) for cell in cells)
        if len(row) == width and has_number and has_time:
            return number
    raise BadShape(
        "No row has a time and a number. Times are read as 2026-07-31 15:40, "
        "31/07/2026 15:40, with AM or PM, or as seconds since 1970."
    )


def _date_form(cell: str) -> str:
    return _time_form([cell]) or ("dmy" if _TWO_PARTS.fullmatch(cell) else "")


def _cells(columns: list[tuple[str, ...]]) -> list[str]:
    return [cell.strip() for column in columns for cell in column]


def _header_notes(layout: Layout, first: int) -> list[str]:
    if not layout.names:
        return ["The file has no row of names: columns go by their number."]
    notes = []
    if layout.names_missing:
        plural = "s" if layout.names_missing > 1 else ""
        notes.append(
            f"The header is {layout.names_missing} name{plural} short: it has "
            f"{len(layout.names)} names for {layout.width} columns. They are taken to "
            "belong to the last columns. Look whether names and numbers go together."
        )
    if first > 1:
        notes.append(f"The {first - 1} rows before the row of names are passed over.")
    return notes


# --- Times ----------------------------------------------------------------------------


def _time_columns(
    columns: list[tuple[str, ...]],
) -> tuple[tuple[int, ...], str, list[str]]:
    """Return the columns of the time, how it is written, and what is unclear of it."""
    stripped = [[cell.strip() for cell in column] for column in columns]
    for number, cells in enumerate(stripped):
        form = _time_form(cells)
        if form:
            return (number,), *_which_day_first(cells, form)
    for number, cells in enumerate(stripped[:-1]):
        following = stripped[number + 1]
        if _share(cells, _is_date) < _MOSTLY:
            continue
        if _share(following, _CLOCK_ONLY.fullmatch) < _MOSTLY:
            continue
        together = [" ".join(pair) for pair in zip(cells, following, strict=True)]
        form = _time_form(together)
        if form:
            return (number, number + 1), *_which_day_first(together, form)
    return (), "", ["No column of times was found. Choose it."]


def _time_form(cells: list[str]) -> str:
    """Return how most of the cells write a time of day with its date, or nothing."""
    for form in ("iso", "ymd", "dmy", "mdy"):
        if _share(cells, lambda cell, form=form: _is_time(cell, form)) >= _MOSTLY:
            return form
    for form, digits in (("epoch_s", 10), ("epoch_ms", 13)):
        pattern = re.compile(rf"1\d{{{digits - 1}}}(?:\.\d+)?", re.ASCII)
        if _share(cells, pattern.fullmatch) >= _MOSTLY:
            return form
    return ""


def _is_time(cell: str, form: str) -> bool:
    if not _HAS_HOUR.search(cell):
        return False
    try:
        if form == "iso" and OFFSET_END.search(cell[10:]):
            return bool(stated_us(cell, form))
        year_first = re.match(r"\d{4}", cell) is not None
        return (form in ("iso", "ymd")) == year_first and wall_us(cell, form) != 0
    except (ValueError, OverflowError):
        return False


def _is_date(cell: str) -> bool:
    return bool(re.fullmatch(r"\d{1,4}[./-]\d{1,2}[./-]\d{1,4}", cell))


def _which_day_first(cells: list[str], form: str) -> tuple[str, list[str]]:
    """Settle whether the day or the month comes first, if the cells do."""
    if form == "iso" and _share(cells, lambda c: OFFSET_END.search(c[10:])) >= _MOSTLY:
        return form, ["The times state their offset from UTC; the zone is not used."]
    if form.startswith("epoch"):
        return form, ["The times are counted in UTC; the zone is not used."]
    zone_note = (
        "The file does not say in which zone its clock ran, nor whether it followed "
        "the change to summer time. Choose that."
    )
    if form not in ("dmy", "mdy"):
        return form, [zone_note]
    parts = [found for cell in cells if (found := _TWO_PARTS.match(cell))]
    if any(int(found[1]) > 12 for found in parts):
        return "dmy", [zone_note]
    if any(int(found[2]) > 12 for found in parts):
        return "mdy", [zone_note]
    unclear = (
        "Day and month can't be told apart in the rows that were looked at. Choose "
        "which comes first."
    )
    return "", [unclear, zone_note]


def _share(cells: Sequence[str], test: object) -> float:
    if not cells or not callable(test):
        return 0.0
    return sum(1 for cell in cells if test(cell)) / len(cells)


# --- Channels -------------------------------------------------------------------------


def _channels(
    layout: Layout, columns: list[tuple[str, ...]], sensors: Sequence[str]
) -> tuple[tuple[Channel, ...], list[str]]:
    """Return the columns that look like temperature or humidity, and why."""
    channels: list[Channel] = []
    silent: dict[str, list[str]] = {}
    for number, column in enumerate(columns):
        values = [_value(cell.strip(), layout.decimal) for cell in column]
        known = sorted(value for value in values if value is not None)
        name = layout.name_of(number)
        quantity = _quantity(name, is_named=bool(layout.names))
        if number in layout.time_columns or quantity is None:
            continue
        if not known or len(known) < len(values) / 2:
            continue
        unit, is_said = _unit(name, quantity, known[len(known) // 2])
        if not is_said:
            silent.setdefault(unit, []).append(name)
        tag = next((one for one in sensors if one.casefold() in name.casefold()), "")
        channels.append(Channel(number, tag, quantity, unit))
    notes = [
        f"The file does not say the unit of {', '.join(names)}. By the size of the "
        f"numbers it is taken for {unit}."
        for unit, names in silent.items()
    ]
    return tuple(channels), notes


def _value(cell: str, decimal: str) -> float | None:
    cell = cell.replace(",", ".") if decimal == "," else cell
    return float(cell) if _NUMBER.fullmatch(cell) and "," not in cell else None


def _quantity(name: str, *, is_named: bool) -> str | None:
    """Return what a column may hold by its name; without names it may be anything."""
    if not is_named:
        return "temperature"
    if _HUMIDITY.search(name) and "ratio" not in name.casefold():
        return "humidity"
    if _TEMPERATURE.search(name) or name.casefold() in {"value", "reading"}:
        return "temperature"
    return None


def _unit(name: str, quantity: str, middle: float) -> tuple[str, bool]:
    """Return the unit of a column, and whether its name says it."""
    if quantity == "humidity":
        return "%", True
    if _FAHRENHEIT.search(name):
        return "°F", True
    if _CELSIUS.search(name):
        return "°C", True
    return ("°F" if middle > _HOT else "°C"), False
