"""The one way in which a string becomes part of a page: :func:`text`.

Whatever a name holds, it is printed as it stands and never read as markup. Signs that
the sheet's font lacks are set in the first other face that has them; those that no
face has are refused, because a certificate is rendered once and an empty box in it
could never be mended.

Right-to-left words are put in order where lines are drawn
(:mod:`lab.common.pdf.lines`); Arabic letters are not joined.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable, Iterator
from itertools import groupby
from typing import Any, Final
from xml.sax.saxutils import escape, quoteattr

from lab.common.pdf import fonts

#: Signs that stand for no ink at all; leaving them out changes nothing that is seen.
INVISIBLE: Final = frozenset("\u00ad\u200b\u200c\u200d\u2060\ufeff") | frozenset(
    map(chr, range(0xFE00, 0xFE10))
)
#: Categories without a shape of their own, bidirectional controls among them, which
#: could make one name look like another: they are printed as their number.
SHAPELESS: Final = frozenset({"Cc", "Cf", "Cs", "Co", "Cn"})


class UnprintableText(ValueError):
    """The snapshot holds signs that no font at hand has."""


def text(said: object) -> str:
    """Return a string as paragraph markup that prints it and does nothing else.

    Raises
    ------
    UnprintableText
        If no font at hand has one of its signs.

    Examples
    --------
    >>> text('a<b>c & "d"')
    'a&lt;b&gt;c &amp; "d"'
    >>> text("up\\u202edown")
    'up[U+202E]down'
    """
    lines = unicodedata.normalize("NFC", str(said)).splitlines()
    return "<br/>".join(map(_marked_up, lines))


def drawable(said: str) -> str:
    """Return a short label as the sheet's own face can draw it, "?" for other signs."""
    signs = fonts.sheet().signs
    return "".join(sign if ord(sign) in signs else "?" for sign in _visible(said))


def printable(said: object) -> str:
    """Return a string with the number of each sign that no font at hand has.

    For papers that can be drawn anew, where a refusal would help nobody.
    """
    lines = unicodedata.normalize("NFC", str(said)).splitlines()
    return "\n".join(
        "".join(s if _face_of(s) else f"[U+{ord(s):04X}]" for s in _visible(line))
        for line in lines
    )


def missing_signs(strings: Iterable[str]) -> str:
    """Return the signs that no font at hand has, each once and in order."""
    signs = {
        sign
        for string in strings
        for line in unicodedata.normalize("NFC", string).splitlines()
        for sign in _visible(line)
    }
    return "".join(sorted(sign for sign in signs if not _face_of(sign)))


def strings_of(value: Any) -> Iterator[str]:
    """Walk all strings in what JSON can hold."""
    if isinstance(value, str):
        yield value
    elif isinstance(value, dict):
        for one in value.values():
            yield from strings_of(one)
    elif isinstance(value, list):
        for one in value:
            yield from strings_of(one)


def _marked_up(line: str) -> str:
    runs = groupby(_visible(line), key=_face_of)
    return "".join(_run(face, "".join(signs)) for face, signs in runs)


def _run(face: str, signs: str) -> str:
    if not face:
        raise UnprintableText(refusal(signs))
    if face == fonts.PLAIN:
        return escape(signs)
    return f"<font name={quoteattr(face)}>{escape(signs)}</font>"


def refusal(signs: str) -> str:
    """Say which signs can't be printed, and what to do about it."""
    named = ", ".join(f"{sign} (U+{ord(sign):04X})" for sign in signs[:10])
    more = f" and {len(signs) - 10} more" if signs[10:] else ""
    return (
        f"No font at hand has {named}{more}. Name a TrueType font that has them in "
        f"{fonts.SETTING}, and try again."
    )


def _visible(line: str) -> Iterator[str]:
    for sign in line:
        if sign in INVISIBLE:
            continue
        if sign == "\t":
            yield " "
        elif unicodedata.category(sign) in SHAPELESS:
            yield from f"[U+{ord(sign):04X}]"
        else:
            yield sign


def _face_of(sign: str) -> str:
    """Return the name of the first face that has a sign; empty if none has."""
    code = ord(sign)
    if code in fonts.sheet().signs:
        return fonts.PLAIN
    return next((face.name for face in fonts.others() if code in face.signs), "")
