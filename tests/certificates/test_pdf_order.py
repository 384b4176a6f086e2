"""Right-to-left words stand on the page as they do in print."""

from __future__ import annotations

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lab.certificates.pdf import render
from lab.common.pdf.order import base_level, in_visual_order, visual_order
from tests.certificates.drawn import drawn, example, reader

#: In the examples of the annex capitals stand for letters that run right to left.
HEBREW = {
    capital: chr(0x05D0 + i) for i, capital in enumerate("ABCDEFGHIJKLMNOPQRSTUV")
}
CAPITALS = {letter: capital for capital, letter in HEBREW.items()}


def turned(said: str, base: int | None = None) -> str:
    """Return what stands on the page for a text written with such capitals."""
    line = "".join(HEBREW.get(sign, sign) for sign in said)
    signs = in_visual_order(line, base_level(line) if base is None else base)
    return "".join(CAPITALS.get(sign, sign) for _, sign in signs)


@pytest.mark.parametrize(
    ("said", "stands"),
    [
        ("car means CAR.", "car means RAC."),
        ("CAR MEANS car.", ".car SNAEM RAC"),
        ("he said CAR MEANS CAR, and left", "he said RAC SNAEM RAC, and left"),
        ("no. ABC 12.5 mm", "no. 12.5 CBA mm"),
        ("ABC 12.5", "12.5 CBA"),
        ("ABC -12,5 %", "% 12,5- CBA"),
        ("ABC (DEF)", "(FED) CBA"),
        ("bar ABC (DEF) end", "bar (FED) CBA end"),
        ("bar [DEF (x) GHI] end", "bar [FED (x) IHG] end"),
        ("ABC (x] DEF", "FED [x) CBA"),
        ("ABC  ", "  CBA"),
        ("ends ABC  ", "ends CBA  "),
        ("plain 1 < 2", "plain 1 < 2"),
        ("", ""),
    ],
)
def test_lines_stand_as_the_standard_has_them(said: str, stands: str) -> None:
    assert turned(said) == stands


def test_a_number_after_arabic_letters_keeps_its_digits_in_order() -> None:
    line = "مر 12"
    stands = "".join(sign for _, sign in in_visual_order(line, base_level(line)))
    assert stands == "12 رم"


def test_a_mark_stays_after_the_letter_that_it_is_put_on() -> None:
    line = "ש\u05b8ל\u05d5\u05b9ם"  # letters with points
    stands = "".join(sign for _, sign in in_visual_order(line, 1))
    assert stands == "ם\u05d5\u05b9לש\u05b8"


@given(st.text(), st.sampled_from([0, 1]))
def test_every_sign_is_drawn_once(line: str, base: int) -> None:
    assert sorted(visual_order(line, base)) == list(range(len(line)))


@given(st.text("abc .,()0123456789%"))
def test_text_without_such_letters_stays_as_it_is(line: str) -> None:
    assert visual_order(line, 0) == list(range(len(line)))


@given(st.text("אבגד", min_size=1))
def test_a_word_of_such_letters_alone_is_turned_round(word: str) -> None:
    assert visual_order(word, base_level(word)) == list(range(len(word)))[::-1]


def test_a_page_has_the_words_from_right_to_left_line_by_line() -> None:
    snapshot = example()
    snapshot["customer"]["name"] = "אבג דהו (Port Ennis)"
    page = drawn(reader(render(json.dumps(snapshot))).pages[0])
    runs = [
        run for run in page.runs if run.text.strip("() ") in {"גבא", "והד", "גבא והד"}
    ]
    assert runs
    named = [run for run in page.runs if "Port Ennis" in run.text and "(" in run.text]
    # The name begins on the right: what is in brackets stands to the left of it.
    left = min(run.left for run in runs if run.base == named[0].base)
    assert named[0].left < left


def test_a_long_text_parted_over_pages_is_turned_once() -> None:
    snapshot = example()
    word = "אבגדהוזח"
    snapshot["deviations"] = " ".join([word] * 3000)
    pages = reader(render(json.dumps(snapshot))).pages
    drawn_words = [
        piece
        for page in pages
        for run in drawn(page).runs
        for piece in run.text.split()
    ]
    assert drawn_words.count(word[::-1]) == 3000
    assert word not in drawn_words
