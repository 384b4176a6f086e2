"""What a certificate prints says something: placeholders are refused."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lab.common.errors import NotAcceptable
from lab.common.texts import optional_text, refuse_placeholder, text_lines

EMPTY_WORDS = ["", "  ", "-", "–", "--", "n/a", "N.A.", "n / a", "TBD", "t.b.c.", "?"]
FILLERS = ["…", "xxx", "XX", "not applicable", "To be defined", "todo", "ｎ／ａ", "___"]
ANSWERS = ["none", "x", "NAV-3", "Nadia", "5", "無し", "tbdx", "a-b", "Xenon"]


@pytest.mark.parametrize("text", EMPTY_WORDS + FILLERS)
def test_a_placeholder_is_refused_beside_its_field(text: str) -> None:
    with pytest.raises(NotAcceptable) as refusal:
        refuse_placeholder(text, "phone")
    assert refusal.value.field == "phone"


@pytest.mark.parametrize("text", ANSWERS)
def test_an_answer_passes_without_its_outer_white_space(text: str) -> None:
    assert refuse_placeholder(f"  {text}\n", "phone") == text


@given(st.text(max_size=30))
def test_what_passes_is_tidy_and_passes_again(text: str) -> None:
    try:
        tidy = refuse_placeholder(text, "field")
    except NotAcceptable:
        return
    assert tidy == text.strip()
    assert refuse_placeholder(tidy, "field") == tidy
    assert any(sign.isalnum() for sign in tidy) or not tidy.isascii()


def test_an_optional_text_may_be_empty_but_no_placeholder() -> None:
    assert optional_text(" \n ", "accreditation") == ""
    assert optional_text(" held ", "accreditation") == "held"
    with pytest.raises(NotAcceptable, match="only holds the place"):
        optional_text("tbd", "accreditation")


def test_lines_are_tidied_and_counted() -> None:
    typed = "  The Net House \r\n\r\n Port Ennis "
    assert text_lines(typed, "address", most=2) == "The Net House\nPort Ennis"
    with pytest.raises(NotAcceptable, match="2 lines are more than the 1"):
        text_lines(typed, "address", most=1)
    with pytest.raises(NotAcceptable, match="only holds the place"):
        text_lines("The Net House\n-", "address", most=6)
    with pytest.raises(NotAcceptable, match="it is empty"):
        text_lines(" \n\n", "address", most=6)
