"""Hostile XML is refused before it is parsed; ordinary XML is read."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lab.common.files.xml import PROLOG_LENGTH, BadXml, parse_xml

SWELLING = (
    '<?xml version="1.0"?><!DOCTYPE a [<!ENTITY b0 "ha">'
    + "".join(f'<!ENTITY b{n} "{f"&b{n - 1};" * 20}">' for n in range(1, 12))
    + "]><a>&b11;</a>"
)
HOSTILE = {
    "swelling entities": SWELLING,
    "a swelling attribute": SWELLING.replace("<a>&b11;</a>", '<a b="&b11;"/>'),
    "a file of the server": (
        '<!DOCTYPE a [<!ENTITY f SYSTEM "file:///etc/passwd">]><a>&f;</a>'
    ),
    "an address": '<!DOCTYPE a SYSTEM "http://127.0.0.1:9/a.dtd"><a/>',
    "a parameter entity": (
        '<!DOCTYPE a [<!ENTITY % p SYSTEM "http://127.0.0.1:9/p"> %p;]><a/>'
    ),
    "an empty document type": "<!DOCTYPE a><a/>",
    "one behind a comment": "<!-- c --><?pi?><!DOCTYPE a []><a/>",
    "lower case": "<!doctype a><a/>",
}


@pytest.mark.parametrize("document", HOSTILE.values(), ids=HOSTILE.keys())
@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16"])
def test_a_document_type_is_refused_unparsed(document: str, encoding: str) -> None:
    with pytest.raises(BadXml, match=r"DOCTYPE|not well-formed") as refusal:
        parse_xml(document.encode(encoding))
    assert refusal.value.field == "file"


def test_the_word_in_a_text_or_a_comment_is_harmless() -> None:
    blob = b"<!-- <!DOCTYPE a> --><a>&lt;!DOCTYPE b&gt;<![CDATA[<!DOCTYPE c>]]></a>"
    assert "DOCTYPE c" in parse_xml(blob).getroot().text


def test_ordinary_documents_are_read() -> None:
    blob = '<?xml version="1.0" encoding="ISO-8859-1"?><a u="µm"><b>20 °C</b></a>'
    tree = parse_xml(blob.encode("latin-1"))
    assert tree.getroot().get("u") == "µm"
    assert tree.findtext("b") == "20 °C"
    assert parse_xml("<a>µ</a>".encode("utf-16")).getroot().text == "µ"


def test_comments_and_instructions_are_left_out() -> None:
    tree = parse_xml(b"<?xml-stylesheet href='x.xsl'?><a><!-- c --><?p?><b/></a>")
    assert [child.tag for child in tree.getroot()] == ["b"]


def test_an_inclusion_is_not_followed() -> None:
    blob = (
        b'<a xmlns:xi="http://www.w3.org/2001/XInclude">'
        b'<xi:include href="/etc/passwd" parse="text"/></a>'
    )
    assert "root:" not in "".join(parse_xml(blob).getroot().itertext())


@pytest.mark.parametrize(
    "blob",
    [
        b"",
        b"plain text",
        b"<a>",
        b"<a></b>",
        b"<a>&undeclared;</a>",
        b"<a>\x00</a>",
        b"<?xml version='1.0' encoding='no-such-code'?><a/>",
        b"<!--" + b"x" * PROLOG_LENGTH + b"--><!DOCTYPE a><a/>",
        b"<a>" * 300 + b"</a>" * 300,
        b"\xff\xfe<\x00",
    ],
)
def test_what_is_not_well_formed_is_refused_in_words(blob: bytes) -> None:
    with pytest.raises(BadXml, match=r"not well-formed|No element begins"):
        parse_xml(blob)


@given(
    blob=st.binary(max_size=200) | st.text("<>!?-[]DOCTYPE a&;'\"=/x").map(str.encode)
)
def test_any_bytes_are_read_or_refused(blob: bytes) -> None:
    refused = ""
    try:
        tree = parse_xml(blob)
    except BadXml as refusal:
        refused = str(refusal)
    assert refused.endswith(".") or tree.docinfo.internalDTD is None


def test_it_loads_without_django(tmp_path: Path) -> None:
    script = "import sys, lab.common.files.xml; print('django' in sys.modules)"
    run = subprocess.run(
        [sys.executable, "-c", script],
        cwd=Path(__file__).parents[3],
        capture_output=True,
        text=True,
        check=True,
    )
    assert run.stdout.strip() == "False"
