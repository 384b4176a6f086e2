"""The results, item by item, and the statement of conformity on them."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Final

from reportlab.lib.units import mm
from reportlab.platypus import Flowable, Table

from lab.common.pdf import look
from lab.common.pdf.pieces import (
    Commands,
    gap,
    joined,
    numbers,
    paragraph,
    said,
    section,
    table,
)

Snapshot = dict[str, Any]
Row = dict[str, Any]

#: Columns by name: what stands over them, and how wide they are. What the
#: characteristic's own column gets is what the others leave.
COLUMNS: Final[dict[str, tuple[str, float]]] = {
    "number": ("No.", 9 * mm),
    "characteristic": ("Characteristic", 0.0),
    "tolerance": ("Tolerance", 42 * mm),
    "value": ("Result", 19 * mm),
    "expanded_u": ("U", 13 * mm),
    "unit": ("Unit", 9 * mm),
    "coverage_factor": ("k", 16 * mm),
    "verdict": ("Verdict", 25 * mm),
}
NUMERIC: Final = ("value", "expanded_u", "coverage_factor")
#: Signs of a row's flags, and what they say beneath the table.
NO_CLAIM: Final = ("\u2020", "The method claims no smallest uncertainty for this one.")
RAISED: Final = (
    "\u2021",
    "U is raised to the smallest uncertainty that the method claims.",
)


def results(snapshot: Snapshot, width: float) -> list[Flowable]:
    judged = snapshot["conformity"] is not None
    parts: list[Flowable] = section("Results")
    for group in snapshot["results"]:
        parts += [_item_table(group, width, judged=judged), gap(9)]
    parts += _marks(snapshot)
    parts += said("Uncertainty", snapshot["uncertainty"]["statement"])
    parts += said("Evaluated on the basis of", *snapshot["uncertainty"]["bases"])
    parts += said("Temperature of reference", snapshot["conditions"]["reference"])
    return parts


def conformity(snapshot: Snapshot) -> list[Flowable]:
    """Return the statement of conformity: what it covers, by which rule, which risk."""
    stated = snapshot["conformity"]
    if stated is None:
        return []
    counts = [f"{one['count']} {one['verdict']}" for one in stated["verdicts"]]
    return [
        *section("Statement of conformity"),
        *said("Specification", stated["specification"]),
        *said("Scope", stated["scope"]),
        *said("Verdicts", joined(counts)),
        *said("Decision rule", stated["rule"], stated["rule_text"]),
        *said("Burden of proof", stated["burden"]),
        *said("Risk", stated["risk"]),
    ]


def _item_table(group: dict[str, Any], width: float, *, judged: bool) -> Table:
    names = [name for name in COLUMNS if judged or name != "verdict"]
    rows, before = _body(group["rows"], names)
    heads = [
        paragraph(
            COLUMNS[name][0],
            look.HEAD_RIGHT if name in NUMERIC else look.HEAD,
        )
        for name in names
    ]
    title = [paragraph(group["serial"], look.ROW_TITLE), *[""] * (len(names) - 1)]
    commands: Commands = [
        ("SPAN", (0, 0), (-1, 0)),
        # A value before an adjustment stands beneath the one after it, unparted.
        *[("LINEBELOW", (0, i - 1), (-1, i - 1), look.HAIR, "white") for i in before],
    ]
    return table(
        [title, heads, *rows], _widths(names, width), heads=2, commands=commands
    )


def _widths(names: Sequence[str], width: float) -> list[float]:
    rest = width - sum(COLUMNS[name][1] for name in names)
    return [COLUMNS[name][1] or rest for name in names]


def _body(
    rows: Sequence[Row], names: Sequence[str]
) -> tuple[list[list[Any]], list[int]]:
    """Return the cells row by row, and which rows are of values before adjustment."""
    lines: list[tuple[Row, Row]] = []
    for row in rows:
        lines.append((row, row))
        if row["before"]:
            lines.append((row, row["before"]))
    columns = {name: numbers([values[name] for _, values in lines]) for name in NUMERIC}
    body = [
        [_cell(name, row, values, columns, i) for name in names]
        for i, (row, values) in enumerate(lines)
    ]
    before = [i + 2 for i, (row, values) in enumerate(lines) if values is not row]
    return body, before


def _cell(
    name: str, row: Row, values: Row, columns: dict[str, list[Any]], line: int
) -> Any:
    if values is not row:
        return _cell_before(name, row, values, columns, line)
    if name == "coverage_factor":
        return [
            columns[name][line],
            paragraph(row["coverage_probability"], look.SMALL_RIGHT),
        ]
    if name in columns:
        return columns[name][line]
    return CELLS[name](row)


def _cell_before(
    name: str, row: Row, values: Row, columns: dict[str, list[Any]], line: int
) -> Any:
    if name in columns:
        return columns[name][line]
    if name == "characteristic":
        told = joined(["before adjustment", _session(values)])
        return paragraph(told, look.SMALL)
    told = {"number": row["number"], "unit": values["unit"]}.get(name, "")
    return paragraph(told, look.CELL)


def _characteristic(row: Row) -> list[Flowable]:
    # Without a nominal value the deviations say no more than the tolerance does.
    nominal = row["nominal"] and joined(
        [f"nominal {row['nominal']}", row["deviations"]]
    )
    asked = row["evaluation"] and f"to be evaluated by {row['evaluation']}"
    lines = [
        joined([row["kind"], nominal]),
        asked,
        row["evaluated_from"] and f"evaluated from {row['evaluated_from']}",
        joined([_session(row), row["temperature"]]),
    ]
    cell = [paragraph(row["description"], look.CELL)]
    cell += [paragraph(line, look.SMALL) for line in lines if line]
    if row["provider"]:
        cell.append(paragraph(row["provider"], look.SMALL_STRONG))
    return cell


def _session(row: Row) -> str:
    return f"session {row['session']}" if row["session"] else ""


def _tolerance(row: Row) -> list[Flowable]:
    accepted = row["acceptance"] and f"accepted: {row['acceptance']}"
    cell = [paragraph(row["tolerance"], look.CELL)]
    return [*cell, paragraph(accepted, look.SMALL)] if accepted else cell


def _verdict(row: Row) -> list[Flowable]:
    lines = [
        row["conformance_probability"]
        and f"conformity {row['conformance_probability']}",
        row["specific_risk"] and f"risk {row['specific_risk']}",
    ]
    cell = [paragraph(row["verdict"], look.CELL_STRONG)]
    return [*cell, *[paragraph(line, look.SMALL) for line in lines if line]]


def _number(row: Row) -> Flowable:
    return paragraph(joined([row["number"], _flags(row)], " "), look.CELL)


def _unit(row: Row) -> Flowable:
    return paragraph(row["unit"], look.CELL)


CELLS: Final = {
    "number": _number,
    "characteristic": _characteristic,
    "tolerance": _tolerance,
    "unit": _unit,
    "verdict": _verdict,
}


def _flags(row: Row) -> str:
    signs = [] if row["in_scope"] else [NO_CLAIM[0]]
    return "".join([*signs, RAISED[0]] if row["raised_to_cmc"] else signs)


def _marks(snapshot: Snapshot) -> list[Flowable]:
    """Say beneath the tables what the signs in them mean."""
    flags = {_flags(row) for group in snapshot["results"] for row in group["rows"]}
    used = "".join(flags)
    marks = [f"{sign} {words}" for sign, words in (NO_CLAIM, RAISED) if sign in used]
    return [*[paragraph(mark, look.SMALL) for mark in marks], gap(6 if marks else 0)]
