"""XML from outside, read without giving it any power.

A document type is where XML's weapons live: entities that swell to gigabytes, files
of the server read into the text, addresses fetched. None of our formats needs one,
so a document that has one is refused before it is parsed: a small parser looks at
the prolog alone, and stops at the first element. What passes is read by a parser
that expands no entity, loads no definition and opens no connection.

The module needs no Django, so that the sandbox's child can load it alone.
"""

from __future__ import annotations

from typing import Any, Final
from xml.parsers import expat

from lxml import etree

from lab.common.errors import NotAcceptable

#: What the prolog may take: comments and instructions before the first element.
PROLOG_LENGTH: Final = 64 * 1024


class BadXml(NotAcceptable):
    """The document is not well formed, or asks for what is never granted."""


class _PrologRead(Exception):
    """The first element has begun."""


def parse_xml(blob: bytes) -> Any:
    """Parse a document and return its ``lxml`` element tree.

    Comments and processing instructions are left out.

    Raises
    ------
    BadXml
        If it has a DOCTYPE, or is not well formed, or is nested deeper or holds a
        longer text than the parser's own bounds allow.
    """
    _refuse_doctype(blob)
    try:
        root = etree.fromstring(blob, _parser())
    except (etree.XMLSyntaxError, ValueError) as fault:
        if getattr(fault, "code", None) == etree.ErrorTypes.ERR_NO_MEMORY:
            raise MemoryError from None  # the sandbox says what that means
        raise BadXml(_told(fault), field="file") from None
    tree = root.getroottree()
    if tree.docinfo.internalDTD is not None:
        # The two parsers disagree on where the prolog ends: trust neither.
        raise _doctype_refused()
    return tree


def _parser() -> Any:
    return etree.XMLParser(
        resolve_entities=False,
        no_network=True,
        load_dtd=False,
        dtd_validation=False,
        attribute_defaults=False,
        huge_tree=False,
        recover=False,
        remove_comments=True,
        remove_pis=True,
    )


def _refuse_doctype(blob: bytes) -> None:
    """Read up to the first element, and refuse at the start of a document type."""
    reader = expat.ParserCreate()
    reader.StartDoctypeDeclHandler = _on_doctype
    reader.StartElementHandler = _on_element
    try:
        reader.Parse(blob[:PROLOG_LENGTH], len(blob) <= PROLOG_LENGTH)
    except _PrologRead:
        return
    except (expat.ExpatError, ValueError, LookupError) as fault:
        raise BadXml(f"This is not well-formed XML: {fault}.", field="file") from None
    raise BadXml(
        f"No element begins within the first {PROLOG_LENGTH // 1024} kB; this is no "
        "XML document that can be read.",
        field="file",
    )


def _on_doctype(*_declared: Any) -> None:
    raise _doctype_refused()


def _on_element(*_started: Any) -> None:
    raise _PrologRead


def _doctype_refused() -> BadXml:
    return BadXml(
        "The file has a document type (DOCTYPE), which could make it read other files "
        "or swell without end. Remove the line and send it again.",
        field="file",
    )


def _told(fault: Exception) -> str:
    reason = str(getattr(fault, "msg", None) or fault).partition("\n")[0]
    return f"This is not well-formed XML: {reason}."
