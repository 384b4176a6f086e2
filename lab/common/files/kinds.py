"""What files the program takes and gives: an allow-list, told by their first bytes.

The name that a file comes with proves nothing, and nor does the type that a browser
states. What is stored as a type is what the bytes say, and what leaves the program
is labelled with a type of this list or as plain bytes.
"""

from __future__ import annotations

import codecs
import re
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

HEAD_LENGTH: Final = 4096
UNKNOWN: Final = "application/octet-stream"
PHOTOS: Final = frozenset({"image/jpeg", "image/png", "image/webp"})
STL_HEADER, STL_FACET = 84, 50
_XML_OPENING = re.compile(r"<(\?xml|!--|[a-z_])")


@dataclass(frozen=True, slots=True)
class FileType:
    """One type that files may have: its name, its usual endings, how it is told."""

    content_type: str
    endings: tuple[str, ...]
    is_told_by: Callable[[bytes, int], bool]


def _begins(*beginnings: bytes) -> Callable[[bytes, int], bool]:
    return lambda head, _size: head.startswith(beginnings)


def _is_webp(head: bytes, _size: int) -> bool:
    return head[:4] == b"RIFF" and head[8:12] == b"WEBP"


def _is_binary_stl(head: bytes, size: int) -> bool:
    """Tell by the count of facets, which the length of the whole file must bear out."""
    facets = int.from_bytes(head[80:84], "little")
    return size >= STL_HEADER + STL_FACET and size == STL_HEADER + STL_FACET * facets


def _is_text_stl(head: bytes, _size: int) -> bool:
    return head.startswith(b"solid") and b"facet" in head and is_text(head)


def _is_obj(head: bytes, _size: int) -> bool:
    """Tell by a vertex line; the format has no signature."""
    lines = head.splitlines()
    return is_text(head) and any(line.startswith(b"v ") for line in lines)


def _is_xml(head: bytes, _size: int) -> bool:
    """Tell by the opening mark; the declaration may be left out in UTF-8."""
    return bool(_XML_OPENING.match(_opening(head))) and not _is_active(head)


def _is_plain_text(head: bytes, _size: int) -> bool:
    return bool(head) and is_text(head) and not _is_active(head)


#: In the order in which they are tried: the sure signatures first.
TYPES: Final = (
    FileType("application/pdf", ("pdf",), _begins(b"%PDF-")),
    FileType("image/png", ("png",), _begins(b"\x89PNG\r\n\x1a\n")),
    FileType("image/jpeg", ("jpg", "jpeg"), _begins(b"\xff\xd8\xff")),
    FileType("image/webp", ("webp",), _is_webp),
    FileType("application/zip", ("zip", "3mf", "xlsx"), _begins(b"PK\x03\x04")),
    FileType("model/stl", ("stl",), _is_binary_stl),
    FileType("model/stl", ("stl",), _is_text_stl),
    FileType("model/x.ply", ("ply",), _begins(b"ply\n", b"ply\r")),
    FileType("model/step", ("step", "stp"), _begins(b"ISO-10303-21;")),
    FileType("application/xml", ("xml", "qif"), _is_xml),
    FileType("model/obj", ("obj",), _is_obj),
    FileType("text/plain", ("txt", "csv", "log", "tsv"), _is_plain_text),
)
ENDINGS: Final = {each.content_type: each.endings for each in TYPES}

MESHES = frozenset({"model/stl", "model/x.ply", "model/obj", "application/zip"})
#: What each kind of upload may be; ``other`` also keeps bytes that nobody knows.
TAKEN: Final[dict[str, frozenset[str]]] = {
    "photo": PHOTOS,
    "xml": frozenset({"application/xml"}),
    "mesh": MESHES,
    "readings": frozenset({"text/plain"}),
    "other": frozenset({*ENDINGS, UNKNOWN}),
}
#: How a refusal names what a kind takes.
TAKEN_IN_WORDS: Final = {
    "photo": "a JPEG, PNG or WebP picture",
    "xml": "an XML file",
    "mesh": "an STL, PLY, OBJ or 3MF mesh",
    "readings": "a text file such as CSV",
    "other": "a file",
}


def sniff(head: bytes, size: int, kind: str) -> str | None:
    """Return the type of a file by its first ``HEAD_LENGTH`` bytes and its size.

    Only what ``kind`` takes is looked for; None means that it is none of these. What
    could run in a browser (HTML, SVG) has no type here: it is plain bytes at most.
    """
    taken = TAKEN[kind]
    for each in TYPES:
        if each.content_type in taken and each.is_told_by(head, size):
            return each.content_type
    return UNKNOWN if UNKNOWN in taken else None


def is_text(head: bytes) -> bool:
    """Tell whether the first bytes are text in UTF-8, UTF-16 or an 8-bit code."""
    if head.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        return True
    controls = set(range(32)) - {9, 10, 12, 13}
    return not controls & set(head)


def _opening(head: bytes) -> str:
    """Return the first characters in lower case, whatever the text's encoding."""
    encoding = "latin-1"
    if head.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        encoding = "utf-16"
    text = head.removeprefix(codecs.BOM_UTF8).decode(encoding, errors="ignore")
    return text.lstrip().lower()


def _is_active(head: bytes) -> bool:
    """Tell whether a browser might take it for a page or a drawing that runs script."""
    opening = _opening(head)
    if not opening.startswith("<"):
        return False
    return any(tag in opening for tag in ("<!doctype html", "<html", "<svg", "<script"))
