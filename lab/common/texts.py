"""Texts that a certificate prints: tidy, and never a placeholder for a fact."""

from __future__ import annotations

import re
import unicodedata
from typing import Final

from lab.common.errors import NotAcceptable

#: What people type to get past a field, without its points, strokes and spaces.
PLACEHOLDERS: Final = frozenset(
    {
        "na",
        "notapplicable",
        "notavailable",
        "tba",
        "tbc",
        "tbd",
        "tobeconfirmed",
        "tobedefined",
        "tobedetermined",
        "todo",
        "placeholder",
    }
)
_CROSSES: Final = re.compile(r"x{2,}")


def refuse_placeholder(text: str, field: str) -> str:
    """Return a text without its outer white space, or refuse it if it says nothing.

    Refused are an empty text, one without a letter or digit ("-", "?", "…"), and the
    usual fillers ("n/a", "tbd", "xxx") in any case of letters. An honest "none" is an
    answer and passes.

    Raises
    ------
    NotAcceptable
        With ``field``, so that the refusal stands beside what was typed.
    """
    tidy = text.strip()
    if not tidy:
        raise NotAcceptable("This is needed, and it is empty.", field=field)
    core = "".join(
        sign
        for sign in unicodedata.normalize("NFKC", tidy).casefold()
        if sign.isalnum()
    )
    if not core or core in PLACEHOLDERS or _CROSSES.fullmatch(core):
        raise NotAcceptable(
            f"“{tidy}” only holds the place of an answer, and this text is printed or "
            "kept as evidence. Write what is the case.",
            field=field,
        )
    return tidy


def optional_text(text: str, field: str) -> str:
    """Tidy a text that may be left out: empty stays empty, a placeholder is refused."""
    return refuse_placeholder(text, field) if text.strip() else ""


def text_lines(text: str, field: str, *, most: int) -> str:
    """Tidy a text of several lines, such as an address: no blank line, none too many.

    Raises
    ------
    NotAcceptable
        If a line is a placeholder, if there is no line, or if there are more than
        ``most``.
    """
    lines = [
        refuse_placeholder(line, field) for line in text.splitlines() if line.strip()
    ]
    if not lines:
        raise NotAcceptable("This is needed, and it is empty.", field=field)
    if len(lines) > most:
        raise NotAcceptable(
            f"{len(lines)} lines are more than the {most} that a certificate has room "
            "for. Join some.",
            field=field,
        )
    return "\n".join(lines)
