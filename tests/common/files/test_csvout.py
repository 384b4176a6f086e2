"""Tables go out so that no cell can be taken for a formula."""

from __future__ import annotations

import csv
import io
from datetime import UTC, date, datetime
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lab.common.files.csvout import BYTE_ORDER_MARK, DANGEROUS, csv_bytes, safe_cell


@pytest.mark.parametrize(
    "text",
    ["=1+1", "+1", "-1", "@SUM(A1)", "\t=1", "\r=1", "\n=1", "＝1", "=cmd|' /C x'!A0"],
)
def test_a_text_that_could_be_a_formula_gets_an_apostrophe(text: str) -> None:
    assert safe_cell(text) == f"'{text}"


@pytest.mark.parametrize(
    ("cell", "text"),
    [
        (-3, "-3"),
        (-0.25, "-0.25"),
        (Decimal("-12.50"), "-12.50"),
        (Decimal("1E-7"), "0.0000001"),
        (None, ""),
        (date(2026, 3, 17), "2026-03-17"),
        (datetime(2026, 3, 17, 12, tzinfo=UTC), "2026-03-17T12:00:00+00:00"),
        ("wind chest", "wind chest"),
        ("a=b", "a=b"),
    ],
)
def test_numbers_keep_their_sign_and_plain_text_its_words(
    cell: str | float | Decimal | None, text: str
) -> None:
    assert safe_cell(cell) == text


@pytest.mark.parametrize(
    "cell", [float("nan"), float("inf"), Decimal("NaN"), Decimal("-Infinity")]
)
def test_what_is_not_finite_is_no_cell(cell: float | Decimal) -> None:
    with pytest.raises(ValueError, match="no number for a table"):
        safe_cell(cell)


def test_the_whole_file_opens_in_a_spreadsheet_with_its_signs() -> None:
    blob = csv_bytes(["part", "U / µm"], [['hub "A", left', Decimal("4.2")]])
    assert blob.startswith(BYTE_ORDER_MARK.encode())
    assert blob.decode("utf-8-sig") == 'part,U / µm\r\n"hub ""A"", left",4.2\r\n'


def test_a_row_that_does_not_fit_its_header_is_a_mistake() -> None:
    with pytest.raises(ValueError, match="3 cells; the header 2"):
        csv_bytes(["a", "b"], [["1", "2", "3"]])


cells = st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\0"))


@given(rows=st.lists(st.tuples(cells, cells), max_size=5))
def test_whatever_is_written_reads_back_and_begins_no_formula(
    rows: list[tuple[str, str]],
) -> None:
    blob = csv_bytes(["=first", "second"], rows)
    read = list(csv.reader(io.StringIO(blob.decode("utf-8-sig"), newline="")))
    assert read[0] == ["'=first", "second"]
    for sent, got in zip(rows, read[1:], strict=True):
        assert [cell.removeprefix("'") for cell in got] == [
            cell.removeprefix("'") for cell in sent
        ]
        assert not any(cell.startswith(DANGEROUS) for cell in got)
