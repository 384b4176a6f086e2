"""Paragraphs whose lines are drawn in the order in which they stand on the page."""

from __future__ import annotations

from copy import copy
from itertools import groupby
from typing import Any

from reportlab.platypus import Paragraph

from lab.common.pdf.order import (
    base_level,
    in_visual_order,
    runs_right_to_left,
)


class Lines(Paragraph):
    """A paragraph that may hold right-to-left words.

    Lines are broken in the order in which they are read, and put into the order in
    which they stand only while they are drawn: a paragraph that is parted over two
    pages is broken anew from what is read.
    """

    blPara: Any  # noqa: N815 - the lines as broken; its name there

    def drawPara(self, debug: int = 0) -> None:  # noqa: N802 - its name there
        as_read = self.blPara
        said = " ".join(map(_text_of, as_read.lines))
        if not runs_right_to_left(said):
            super().drawPara(debug)
            return
        self.blPara = _as_it_stands(as_read, base_level(said))
        try:
            super().drawPara(debug)
        finally:
            self.blPara = as_read


def _text_of(line: Any) -> str:
    """Return a broken line's text, of one font or of several."""
    if isinstance(line, tuple):
        return " ".join(line[1])
    return "".join(fragment.text for fragment in line.words)


def _as_it_stands(as_read: Any, base: int) -> Any:
    """Return broken lines with each line's signs from left to right."""
    turned = copy(as_read)
    if as_read.kind == 0:
        turned.lines = [
            (space, _turned_words(words, base), *rest)
            for space, words, *rest in as_read.lines
        ]
    else:
        turned.lines = [_turned_line(line, base) for line in as_read.lines]
    return turned


def _turned_words(words: list[str], base: int) -> list[str]:
    signs = in_visual_order(" ".join(words), base)
    return "".join(sign for _, sign in signs).split(" ")


def _turned_line(line: Any, base: int) -> Any:
    """Return a line of several fonts, its fragments cut where the order is."""
    owners = [fragment for fragment in line.words for _ in fragment.text]
    signs = in_visual_order(_text_of(line), base)
    turned = copy(line)
    turned.words = []
    for _, run in groupby(signs, key=lambda signed: id(owners[signed[0]])):
        places = list(run)
        fragment = copy(owners[places[0][0]])
        fragment.text = "".join(sign for _, sign in places)
        turned.words.append(fragment)
    return turned
