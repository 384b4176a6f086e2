"""In which order the signs of a line stand when right-to-left words are among them.

Text is stored in the order in which it is read; a page has it in the order in which it
stands from left to right, and readers of a PDF expect it so. This is the bidirectional
algorithm of the Unicode standard (annex UAX #9) without explicit controls, which
:mod:`lab.common.pdf.text` prints as their numbers. Letters are not joined as
Arabic script joins them.

References
----------
Unicode Standard Annex #9, Unicode Bidirectional Algorithm; rules named as there (from
memory).
"""

from __future__ import annotations

import unicodedata
from collections.abc import Sequence
from itertools import groupby, pairwise
from typing import Final

#: Kinds of sign that are of one direction, and those that take their neighbours'.
RIGHT: Final = frozenset({"R", "AL"})
STRONG: Final = RIGHT | {"L"}
NUMBERS: Final = frozenset({"EN", "AN"})
NEUTRAL: Final = frozenset({"B", "S", "WS", "ON", "BN"})
#: Brackets that are settled in pairs, by the one that opens.
CLOSING: Final = {"(": ")", "[": "]", "{": "}"}
#: Signs that are turned round in right-to-left text.
MIRRORED: Final = dict(zip("()[]{}<>«»‹›≤≥", ")(][}{><»«›‹≥≤", strict=True))


def runs_right_to_left(text: str) -> bool:
    """Tell whether anything in a text runs from right to left."""
    return any(unicodedata.bidirectional(sign) in RIGHT for sign in text)


def base_level(text: str) -> int:
    """Return 1 for a text whose first letter runs right to left, else 0 (P2, P3)."""
    kinds = map(unicodedata.bidirectional, text)
    return int(next((kind for kind in kinds if kind in STRONG), "L") in RIGHT)


def visual_order(line: str, base: int) -> list[int]:
    """Return the places of a line's signs as they stand from left to right.

    A sign that is put on the one before it stays after it (L3).

    Examples
    --------
    >>> visual_order("a אב 12", 0)
    [0, 1, 5, 6, 4, 3, 2]
    """
    levels = _levels(line, base)
    places = list(range(len(line)))
    for level in range(max(levels, default=0), 0, -1):
        places = _reversed_runs(places, levels, level)
    return [place for cluster in _clusters(places, line) for place in cluster]


def shown(sign: str, place: int, levels: Sequence[int]) -> str:
    """Return a sign as it looks where it stands: brackets turn round (L4)."""
    return MIRRORED.get(sign, sign) if levels[place] % 2 else sign


def in_visual_order(line: str, base: int) -> list[tuple[int, str]]:
    """Return the signs of a line from left to right, each with its place in it."""
    levels = _levels(line, base)
    places = visual_order(line, base)
    return [(place, shown(line[place], place, levels)) for place in places]


def _reversed_runs(places: list[int], levels: Sequence[int], level: int) -> list[int]:
    """Reverse each run of signs that are at least at a level (L2)."""
    turned: list[int] = []
    for high, run in groupby(places, key=lambda place: levels[place] >= level):
        run_places = list(run)
        turned += run_places[::-1] if high else run_places
    return turned


def _clusters(places: list[int], line: str) -> list[list[int]]:
    """Keep each sign together with the marks on it, the marks after it."""
    clusters: list[list[int]] = []
    for place in places:
        mark = unicodedata.bidirectional(line[place]) == "NSM"
        follows = clusters and abs(clusters[-1][-1] - place) == 1
        before = follows and clusters[-1][-1] == place + 1
        was_mark = before and unicodedata.bidirectional(line[place + 1]) == "NSM"
        if was_mark:
            clusters[-1].insert(0, place)
        elif mark and follows and not before:
            clusters[-1].append(place)
        else:
            clusters.append([place])
    return clusters


# --- Levels -----------------------------------------------------------------------


def _levels(line: str, base: int) -> list[int]:
    kinds = [unicodedata.bidirectional(sign) or "ON" for sign in line]
    outer = "R" if base else "L"
    kinds = _brackets(line, _weak(kinds, outer), outer)
    kinds = _neutral(kinds, outer)
    levels = [_level(kind, base) for kind in kinds]
    for place in range(len(line) - 1, -1, -1):
        if not line[place].isspace():
            break
        levels[place] = base
    return levels


def _level(kind: str, base: int) -> int:
    """Return the level of a sign whose kind is settled (I1, I2)."""
    if base:
        return 1 if kind == "R" else 2
    return {"L": 0, "R": 1}.get(kind, 2)


def _weak(kinds: list[str], outer: str) -> list[str]:
    """Settle marks, numbers and the signs about numbers (W1 to W7)."""
    kinds = _after_letters(_marks(kinds, outer))
    for place in range(1, len(kinds) - 1):
        before, here, after = kinds[place - 1 : place + 2]
        common = here == "CS" and before in NUMBERS
        if before == after and (common or (here == "ES" and before == "EN")):
            kinds[place] = before
    _terminators(kinds)
    kinds = ["ON" if kind in {"ES", "ET", "CS"} else kind for kind in kinds]
    last = outer
    for place, kind in enumerate(kinds):
        if kind in {"L", "R"}:
            last = kind
        elif kind == "EN" and last == "L":
            kinds[place] = "L"
    return kinds


def _marks(kinds: list[str], outer: str) -> list[str]:
    """Give each mark the kind of what it stands on (W1)."""
    settled: list[str] = []
    for kind in kinds:
        settled.append((settled or [outer])[-1] if kind == "NSM" else kind)
    return settled


def _after_letters(kinds: list[str]) -> list[str]:
    """Make numbers after Arabic letters Arabic, and those letters R (W2, W3)."""
    settled, last = [], ""
    for kind in kinds:
        last = kind if kind in STRONG else last
        settled.append("AN" if kind == "EN" and last == "AL" else kind)
    return ["R" if kind == "AL" else kind for kind in settled]


def _terminators(kinds: list[str]) -> None:
    """Let signs such as % and € belong to the number that they touch (W5)."""
    for steps in (range(len(kinds)), range(len(kinds) - 1, -1, -1)):
        for before, place in pairwise(steps):
            if kinds[place] == "ET" and kinds[before] == "EN":
                kinds[place] = "EN"


def _brackets(line: str, kinds: list[str], outer: str) -> list[str]:
    """Give a pair of brackets the direction of what is in them, or about them (N0)."""
    settled = list(kinds)
    for opening, closing in _pairs(line, kinds):
        inside = _directions(settled[opening + 1 : closing])
        before = (_directions(settled[:opening]) or [outer])[-1]
        if outer in inside:
            settled[opening] = settled[closing] = outer
        elif inside:
            settled[opening] = settled[closing] = before if before in inside else outer
    return settled


def _pairs(line: str, kinds: list[str]) -> list[tuple[int, int]]:
    """Return the places of brackets that belong together, the first opened first."""
    open_ones: list[int] = []
    pairs: list[tuple[int, int]] = []
    for place, sign in enumerate(line):
        if kinds[place] != "ON":
            continue
        if sign in CLOSING:
            open_ones.append(place)
        matching = [at for at in open_ones if CLOSING[line[at]] == sign]
        if matching:
            pairs.append((matching[-1], place))
            open_ones = [at for at in open_ones if at < matching[-1]]
    return sorted(pairs)


def _directions(kinds: Sequence[str]) -> list[str]:
    settled = {"L", "R"} | NUMBERS
    return [_direction(kind) for kind in kinds if kind in settled]


def _neutral(kinds: list[str], outer: str) -> list[str]:
    """Give what has no direction that of its neighbours, or the line's (N1, N2)."""
    settled: list[str] = []
    runs = [(key, list(run)) for key, run in groupby(kinds, key=NEUTRAL.__contains__)]
    for place, (is_neutral, run) in enumerate(runs):
        if not is_neutral:
            settled += run
            continue
        before = _direction(settled[-1]) if settled else outer
        following = runs[place + 1][1][0] if place + 1 < len(runs) else outer
        same = before == _direction(following)
        settled += [before if same else outer] * len(run)
    return settled


def _direction(kind: str) -> str:
    return "L" if kind == "L" else "R"
