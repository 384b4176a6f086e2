"""A certificate's PDF: complete, legible, framed, and the same bytes every time."""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
from collections import Counter
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
import segno
from reportlab.lib.pagesizes import A4, LETTER

from lab.certificates.documents.rendering import document_of
from lab.certificates.pdf import render
from lab.certificates.snapshot import UnknownSchema
from lab.common import clock
from lab.common.pdf import look
from tests.certificates.drawn import EXAMPLE, drawn, example, reader, squeezed, words_of
from tests.conftest import PROJECT

#: What a snapshot holds besides what is printed: what pages and machines need, and
#: sentences that say again what stands in the table.
NOT_PRINTED = {
    "laboratory.country",
    "limits.lower",
    "limits.upper",
    "paper",
    "sentence",
    "measured_on.days",
    "place_of_work.kind",
    "method.code",
    "method.title",
    "method.revision",
    "sessions.measured_on",
    "sessions.state",
    "change.issued_on",
    "customer_supplied",
    "standards.kind",
    "rows.deviations",
}
GOLDEN = EXAMPLE.with_suffix(".txt")


@pytest.fixture(scope="module")
def pdf() -> bytes:
    return render(EXAMPLE.read_text())


def rendered(snapshot: dict[str, Any]) -> bytes:
    return render(json.dumps(snapshot))


def many_rows(count: int) -> dict[str, Any]:
    """Return the example with as many characteristics of one item as are wanted."""
    snapshot = example()
    group = snapshot["results"][0]
    rows = group["rows"]
    group["rows"] = [rows[i % len(rows)] | {"number": str(i + 1)} for i in range(count)]
    snapshot["results"] = [group]
    return snapshot


# --- What it says -------------------------------------------------------------------


def strings_by_path(value: Any, path: str = "") -> Iterator[tuple[str, str]]:
    if isinstance(value, dict):
        for key, one in value.items():
            yield from strings_by_path(one, f"{path}.{key}".lstrip("."))
    elif isinstance(value, list):
        for one in value:
            yield from strings_by_path(one, path)
    elif isinstance(value, str) and value:
        yield path, value


def test_every_string_of_the_snapshot_is_printed(pdf: bytes) -> None:
    printed = squeezed(words_of(pdf))
    missing = [
        (path, said)
        for path, said in strings_by_path(example())
        if not any(path.endswith(end) for end in NOT_PRINTED)
        and squeezed(said) not in printed
    ]
    assert missing == []


def test_the_text_is_that_of_the_golden_file(pdf: bytes) -> None:
    """Across versions the text stays; a change of layout is seen in this file."""
    pages = [" ".join(page.extract_text().split()) for page in reader(pdf).pages]
    assert pages == GOLDEN.read_text().splitlines()


def test_an_empty_remark_has_no_label() -> None:
    snapshot = example()
    snapshot |= {"sampling": "", "adjustment": "", "change": None}
    snapshot["opinion"]["text"] = ""
    snapshot["conformity"] = None
    printed = words_of(rendered(snapshot))
    for gone in (
        "Sampling",
        "Adjustment or repair",
        snapshot["opinion"]["heading"],
        "Statement of conformity",
        "Verdict",
        "amendment of",
    ):
        assert gone not in printed
    assert "Deviations from the method" in printed


def test_marks_in_the_table_are_explained_beneath_it_only_if_used() -> None:
    printed = words_of(rendered(example()))
    assert "2 ‡" in printed
    assert "‡ U is raised to the smallest uncertainty" in printed
    assert "† The method claims no smallest uncertainty" in printed
    snapshot = example()
    for group in snapshot["results"]:
        for row in group["rows"]:
            row |= {"in_scope": True, "raised_to_cmc": False}
    assert not {"†", "‡"} & set(words_of(rendered(snapshot)))


def test_a_value_before_an_adjustment_stands_beneath_the_one_after(pdf: bytes) -> None:
    printed = words_of(pdf)
    after, before = printed.index("1000.012"), printed.index("1000.131")
    assert 0 < before - after < 300
    assert "before adjustment, session 1" in printed[after:before]


# --- Pages --------------------------------------------------------------------------


@pytest.mark.parametrize(("paper", "size"), [("a4", A4), ("letter", LETTER)])
def test_the_snapshot_names_the_paper(paper: str, size: tuple[float, float]) -> None:
    pages = reader(rendered(example() | {"paper": paper})).pages
    for page in pages:
        box = (float(page.mediabox.width), float(page.mediabox.height))
        assert box == pytest.approx(size, abs=0.01)


def test_each_page_has_number_page_of_pages_and_the_title_block(pdf: bytes) -> None:
    pages = reader(pdf).pages
    assert len(pages) > 1
    for number, page in enumerate(pages, start=1):
        words = " ".join(page.extract_text().split())
        for said in (
            f"Page {number} of {len(pages)}",
            "Number SD-2026-0042",
            "Laboratory Saltmarsh Dimensional",
            "Customer Ravelin Ropeways",
            "Job J-2026-0107",
            "Issued 2026-03-20",
            "amendment of SD-2026-0041",
        ):
            assert said in words


def test_the_end_is_marked_once_on_the_last_page(pdf: bytes) -> None:
    pages = [page.extract_text() for page in reader(pdf).pages]
    mark = "End of Calibration certificate SD-2026-0042"
    assert [mark in page for page in pages] == [False] * (len(pages) - 1) + [True]
    assert words_of(pdf).count(mark) == 1


def test_the_head_of_the_results_is_repeated_on_each_page_of_them() -> None:
    pages = reader(rendered(many_rows(400))).pages
    seen: list[int] = []
    for page in pages:
        texts = [run.text for run in drawn(page).runs]
        if "Verdict" in texts:
            assert {"No.", "Characteristic", "Result", "RR-HA-0417"} <= set(texts)
            seen += [
                int(t.split()[0]) for t in texts if re.fullmatch(r"\d+( [†‡]+)?", t)
            ]
    counted = Counter(seen)
    # One in seven has a value before adjustment, beneath it with the same number.
    assert set(range(1, 401)) <= set(counted)
    assert [counted[n] for n in (1, 2, 8, 399)] == [2, 1, 2, 1]


# --- Legible ------------------------------------------------------------------------


def crowded() -> dict[str, Any]:
    """Return a snapshot with everything as long as records let it be, and longer."""
    snapshot = many_rows(60)
    wide = "W" * 60
    snapshot["laboratory"]["name"] = "W" * 120
    snapshot["customer"] |= {"name": "M" * 120, "order": wide, "contact_email": wide}
    snapshot["part"] |= {"name": wide, "number": wide}
    snapshot["items"][0] |= {"serial": wide, "condition": "scratched " * 1500}
    snapshot["results"][0]["serial"] = wide
    rows = snapshot["results"][0]["rows"]
    rows[3] |= {"description": wide * 3, "provider": wide}
    rows[4] |= {"value": "123456789012.123456", "expanded_u": "1234567.0"}
    rows[5] |= {"description": "long " * 3000}
    rows[6] |= {"value": "not measurable, too soft", "verdict": wide}
    for row in snapshot["traceability"]["standards"]:
        row.update(dict.fromkeys(("tag", "serial", "certificate_number"), wide))
    snapshot["opinion"]["text"] = "opinion " * 2000
    snapshot["issue"]["authorised_by"] = wide
    return snapshot


@pytest.mark.parametrize("paper", ["a4", "letter"])
@pytest.mark.parametrize("make", [example, crowded], ids=["example", "crowded"])
def test_nothing_leaves_the_frame_or_covers_something_else(
    make: Any, paper: str
) -> None:
    sheet = look.sheet_of(paper)
    for page in reader(rendered(make() | {"paper": paper})).pages:
        runs = drawn(page).runs
        assert runs
        for run in runs:
            assert sheet.left <= run.left, run
            assert run.right <= sheet.right + 0.01, run
            assert sheet.bottom <= run.base, run
            assert run.base + 0.7 * run.size <= sheet.top, run
        runs.sort(key=lambda run: run.base)
        near = [
            (one, other)
            for i, one in enumerate(runs)
            for other in runs[i + 1 : i + 40]
            if one.overlaps(other)
        ]
        assert near == []


def test_nothing_of_a_crowded_certificate_is_lost() -> None:
    printed = squeezed(words_of(rendered(crowded())))
    assert printed.count("opinion") >= 2000
    assert printed.count("scratched") == 1500
    assert printed.count("long") == 3000
    for said in ("123456789012.123456", "1234567.0", "notmeasurable,toosoft"):
        assert said in printed


def test_no_text_is_smaller_than_can_be_read() -> None:
    sizes = {
        run.size
        for page in reader(rendered(crowded())).pages
        for run in drawn(page).runs
    }
    assert min(sizes) >= 4
    ordinary = {
        r.size for page in reader(rendered(example())).pages for r in drawn(page).runs
    }
    assert min(ordinary) >= 6.5


def test_numbers_stand_by_one_decimal_sign(pdf: bytes) -> None:
    """Where the decimals begin is the right end less the width of what follows."""
    page = drawn(reader(pdf).pages[1])
    head = next(run for run in page.runs if run.text == "Result")
    unit = next(run for run in page.runs if run.text == "Unit")
    values = [
        run
        for run in page.runs
        if re.fullmatch(r"\d+\.\d+", run.text)
        and head.left - 30 < run.left < head.right
    ]
    assert len({len(run.text.partition(".")[2]) for run in values}) > 1
    assert max(run.right for run in values) < unit.left
    digit = 0.497 * values[0].size  # tabular figures: all are as wide
    signs = {
        round(run.right - digit * len(run.text.partition(".")[2]), 1) for run in values
    }
    assert len(signs) == 1


# --- The file -----------------------------------------------------------------------

SCRIPT = """
import sys, django
django.setup()
from lab.certificates.documents.rendering import document_of
sys.stdout.buffer.write(document_of(open(sys.argv[1]).read()))
"""


def test_two_processes_make_the_same_document(tmp_path: Path) -> None:
    """The second one has another day, another hash seed and no database."""
    run = subprocess.run(
        [sys.executable, "-c", SCRIPT, str(EXAMPLE)],
        cwd=PROJECT,
        env=os.environ
        | {
            "DJANGO_SETTINGS_MODULE": "lab.settings",
            "PYTHONHASHSEED": "7",
            "UNBROKEN_DATA": str(tmp_path),
            "UNBROKEN_DEMO": "1",
            "UNBROKEN_CLOCK_SHIFT_S": "-40000000",
            "TZ": "Asia/Tokyo",
        },
        capture_output=True,
        check=True,
    )
    assert run.stdout == document_of(EXAMPLE.read_text())


def test_the_day_of_drawing_leaves_no_trace(pdf: bytes) -> None:
    with clock.set_to(datetime(2031, 1, 1, tzinfo=UTC)):
        assert render(EXAMPLE.read_text()) == pdf
    assert b"2031" not in pdf


def test_the_order_of_keys_does_not_matter(pdf: bytes) -> None:
    backwards = json.dumps(dict(reversed(example().items())))
    assert render(backwards) == pdf


def test_the_file_says_what_it_is(pdf: bytes) -> None:
    found = reader(pdf)
    assert found.metadata is not None
    assert found.metadata.title == "Calibration certificate SD-2026-0042"
    assert found.metadata.author == "Saltmarsh Dimensional"
    assert found.trailer["/Root"]["/Lang"] == "en-GB"
    assert found.trailer["/Root"]["/ViewerPreferences"]["/DisplayDocTitle"] is not None


def test_the_code_is_that_of_the_address(pdf: bytes) -> None:
    address = example()["issue"]["authenticity_url"]
    last = reader(pdf).pages[-1]
    wanted = [list(map(bool, row)) for row in segno.make_qr(address, error="m").matrix]
    assert _modules(drawn(last).squares, len(wanted)) == wanted
    assert squeezed(address) in squeezed(last.extract_text())


def _modules(squares: list[tuple[float, ...]], count: int) -> list[list[bool]]:
    """Read the dark modules of a square code from the rectangles on a page."""
    side = min(height for *_, height in squares)
    parts = [s for s in squares if s[3] == pytest.approx(side, abs=0.01)]
    left, bottom = min(s[0] for s in parts), min(s[1] for s in parts)
    found = [[False] * count for _ in range(count)]
    for x, y, width, _ in parts:
        row = count - 1 - round((y - bottom) / side)
        start = round((x - left) / side)
        for column in range(start, start + round(width / side)):
            found[row][column] = True
    return found


def test_a_snapshot_of_a_later_program_is_not_guessed_at() -> None:
    with pytest.raises(UnknownSchema, match="schema 99"):
        rendered(example() | {"schema": 99})
