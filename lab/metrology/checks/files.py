"""Readings of a check out of a text file: as they were read, or fitted to points.

A file holds either readings or points, never both. Columns are parted by commas,
semicolons or tabs (points also by spaces); a first row that holds names says which
column is what. Where it doesn't:

readings
    ``position, reading``, or one column in the order of the procedure; with names,
    the columns ``reading`` and, if there is one, ``position``.
points
    ``x, y, z`` for a check with one reading; in millimetres, in one frame.

With names, points have ``x``, ``y``, ``z``, and ``position`` where there are several
readings; where a reading needs two features (the spheres of a spacing), ``feature``
with ``A`` or ``B``. Further columns are left alone. Every row counts: nothing is
filtered, and a row that can't be read refuses the file.
"""

from __future__ import annotations

import re
from array import array
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import Final

import numpy as np
from numpy.typing import NDArray

from lab.metrology.checks.from_points import (
    flat_form_from_points,
    probing_from_points,
    spacing_from_points,
)
from lab.metrology.checks.judging import Quantity
from lab.metrology.errors import BadShape, MetrologyError, OutOfDomain, TooFew
from lab.metrology.typed import parse_decimal

__all__ = ["FileReadings", "readings_from_file"]

_ENCODINGS: Final = ("utf-8-sig", "cp1252")
_SEPARATORS: Final = (";", "\t", ",")
_POINT: Final = ("x", "y", "z")
_NUMBER: Final = re.compile(r"[+-]?(?:\d+[.,]?\d*|[.,]\d+)(?:[eE][+-]?\d+)?", re.ASCII)
_UNIT: Final = re.compile(r"[\[(/ ]*mm[\])]*$", re.IGNORECASE)
_ONLY: Final = ""
_POSITION: Final = "position"
_READING: Final = "reading"

_Points = dict[tuple[str, str], "array[float]"]


@dataclass(frozen=True, slots=True)
class FileReadings:
    """What a file says: a text for each reading, and one sentence on each fit.

    `fitted_mm` holds fitted values, in mm; `texts` what was read as it stands.
    """

    texts: dict[str, str] = field(default_factory=dict)
    fitted_mm: dict[str, float] = field(default_factory=dict)
    notes: tuple[str, ...] = ()


def readings_from_file(
    content: bytes, quantity: Quantity, names: Sequence[str]
) -> FileReadings:
    """Return what a file says of the readings that a procedure prescribes.

    Parameters
    ----------
    content : bytes
        Text in UTF-8 or Windows-1252.
    quantity : Quantity
        What is measured: it says what is fitted to points.
    names : sequence of str
        The prescribed readings, in their order.

    Returns
    -------
    readings : FileReadings

    Raises
    ------
    BadShape
        If a row has too few columns, or no number where one must be.
    OutOfDomain
        If a reading is unknown or there twice, or points are given for a length.
    TooFew
        If the file is empty, or a reading has no points.
    MetrologyError
        What the fit refuses, with the reading's name before it.

    Examples
    --------
    >>> readings_from_file(b"Upright,1000.02", Quantity.LENGTH, ["Upright"]).texts
    {'Upright': '1000.02'}
    """
    rows = _rows(_text(content))
    first = next(rows, None)
    if first is None:
        raise TooFew("The file holds no rows.")
    number, cells = first
    head = [_UNIT.sub("", cell).strip().casefold() for cell in cells]
    if set(_POINT) <= set(head):
        return _fitted(_points(rows, head, names), quantity, names)
    if len(cells) == 3 and all(_is_number(cell) for cell in cells):
        plain = _chained((number, cells), rows)
        return _fitted(_points(plain, list(_POINT), names), quantity, names)
    if _READING in head:
        return _read(rows, head, names)
    bare = [_READING] if len(cells) == 1 else [_POSITION, _READING]
    return _read(_chained((number, cells), rows), bare, names)


def _text(content: bytes) -> str:
    for encoding in _ENCODINGS:
        try:
            text = content.decode(encoding)
        except UnicodeDecodeError:
            continue
        if "\0" in text:
            break
        return text
    raise BadShape("The file is no text. Save it as CSV or as a text file of points.")


def _rows(text: str) -> Iterator[tuple[int, list[str]]]:
    """Walk the rows that hold something, with their numbers from 1."""
    separator: str | None = None
    is_chosen = False
    for number, line in enumerate(text.splitlines(), start=1):
        if not line.strip() or line.lstrip().startswith("#"):
            continue
        if not is_chosen:
            separator = next((one for one in _SEPARATORS if one in line), None)
            is_chosen = True
        if separator is None and _is_number(line.split()[0]):
            cells = line.split()
        else:
            cells = line.split(separator) if separator else [line]
        yield number, [cell.strip().strip('"') for cell in cells]


def _chained(
    first: tuple[int, list[str]], rows: Iterator[tuple[int, list[str]]]
) -> Iterator[tuple[int, list[str]]]:
    yield first
    yield from rows


def _is_number(cell: str) -> bool:
    return _NUMBER.fullmatch(cell) is not None


# --- Readings -------------------------------------------------------------------------


def _read(
    rows: Iterator[tuple[int, list[str]]], head: Sequence[str], names: Sequence[str]
) -> FileReadings:
    by_case = {name.casefold(): name for name in names}
    position = head.index(_POSITION) if _POSITION in head else None
    texts: dict[str, str] = {}
    for number, cells in rows:
        _require_width(cells, head, number)
        if position is None:
            name = _next_name(texts, names, number)
        else:
            name = _known(cells[position], by_case, number)
        if name in texts:
            raise OutOfDomain(f"Row {number} gives {name!r} a second reading.")
        texts[name] = _reading(cells[head.index(_READING)], number)
    if not texts:
        raise TooFew("The file holds a first row of names and no readings.")
    return FileReadings(texts=texts)


def _reading(text: str, number: int) -> str:
    """Return a reading's text as it stands, if it is a number with one meaning."""
    try:
        parse_decimal(text)
    except MetrologyError as refusal:
        raise type(refusal)(f"Row {number}: {refusal}") from refusal
    return text


def _require_width(cells: Sequence[str], head: Sequence[str], number: int) -> None:
    """Refuse a row that has other columns: a decimal comma may have parted a number."""
    if len(cells) != len(head):
        raise BadShape(
            f"Row {number} has {len(cells)} columns where {len(head)} are expected. "
            "Part columns with semicolons if numbers have decimal commas."
        )


def _next_name(texts: dict[str, str], names: Sequence[str], number: int) -> str:
    if len(texts) >= len(names):
        raise OutOfDomain(
            f"Row {number} is one too many: the procedure has {len(names)} readings."
        )
    return names[len(texts)]


def _known(said: str, by_case: dict[str, str], number: int) -> str:
    name = by_case.get(said.casefold())
    if name is None:
        raise OutOfDomain(
            f"Row {number} names {said!r}; the procedure knows "
            f"{', '.join(by_case.values())}."
        )
    return name


# --- Points ---------------------------------------------------------------------------


def _points(
    rows: Iterator[tuple[int, list[str]]], head: Sequence[str], names: Sequence[str]
) -> _Points:
    by_case = {name.casefold(): name for name in names}
    places = [head.index(axis) for axis in _POINT]
    position = head.index(_POSITION) if _POSITION in head else None
    feature = head.index("feature") if "feature" in head else None
    if position is None and len(names) > 1:
        raise BadShape(
            f"The procedure has {len(names)} readings; the file must have a column "
            "“position” that says to which each point belongs."
        )
    found: _Points = {}
    for number, cells in rows:
        _require_width(cells, head, number)
        name = (
            names[0] if position is None else _known(cells[position], by_case, number)
        )
        part = _ONLY if feature is None else cells[feature].upper()
        point = [_coordinate(cells[place], number) for place in places]
        found.setdefault((name, part), array("d")).extend(point)
    return found


def _coordinate(cell: str, number: int) -> float:
    if not _is_number(cell):
        raise BadShape(f"Row {number} has {cell!r} where a coordinate must be.")
    return float(cell.replace(",", "."))


def _fitted(points: _Points, quantity: Quantity, names: Sequence[str]) -> FileReadings:
    if quantity is Quantity.LENGTH:
        raise OutOfDomain(
            "A length is read, not fitted to points: give its readings, or check by "
            "the spacing of spheres."
        )
    fitted: dict[str, float] = {}
    notes: list[str] = []
    for name in names:
        parts = {part: _array(xyz) for (n, part), xyz in points.items() if n == name}
        if not parts:
            raise TooFew(f"The file has no points of {name!r}.")
        try:
            fitted[name], note = _fit(parts, quantity)
        except MetrologyError as refusal:
            raise type(refusal)(f"{name}: {refusal}") from refusal
        notes.append(f"{name}: {note}")
    return FileReadings(fitted_mm=fitted, notes=tuple(notes))


def _array(coordinates: array[float]) -> NDArray[np.float64]:
    return np.frombuffer(coordinates, dtype=np.float64).reshape(-1, 3)


def _fit(
    parts: dict[str, NDArray[np.float64]], quantity: Quantity
) -> tuple[float, str]:
    if quantity is Quantity.SPHERE_SPACING:
        return _spacing(parts)
    if len(parts) > 1:
        raise OutOfDomain(
            f"has points of {len(parts)} features; a {quantity.value} has one."
        )
    (points,) = parts.values()
    if quantity is Quantity.FLAT_FORM:
        flat = flat_form_from_points(points)
        return flat.form_mm, f"plane through {flat.count} points."
    sphere = probing_from_points(points)
    is_form = quantity is Quantity.PROBING_FORM
    note = (
        f"sphere of free radius through {sphere.count} points, form "
        f"{sphere.form_mm * 1000:.1f} µm."
    )
    return sphere.form_mm if is_form else sphere.diameter_mm, note


def _spacing(parts: dict[str, NDArray[np.float64]]) -> tuple[float, str]:
    if sorted(parts) != ["A", "B"]:
        raise OutOfDomain(
            "needs points of two spheres, told apart by “A” and “B” in a column "
            "“feature”."
        )
    spacing = spacing_from_points(parts["A"], parts["B"])
    note = (
        f"centres of spheres through {len(parts['A'])} and {len(parts['B'])} points, "
        f"forms {spacing.form_a_mm * 1000:.1f} µm and "
        f"{spacing.form_b_mm * 1000:.1f} µm."
    )
    return spacing.distance_mm, note
