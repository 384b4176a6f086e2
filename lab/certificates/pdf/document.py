"""A whole certificate: its parts in order, on framed pages, as the bytes of a PDF."""

from __future__ import annotations

from io import BytesIO
from typing import Any, Final

from reportlab.platypus import BaseDocTemplate, Flowable, Frame, PageTemplate

from lab.certificates.pdf import closing, evidence, head, results
from lab.certificates.pdf.frame import canvas_for
from lab.certificates.snapshot.reading import read_snapshot
from lab.common.pdf import fonts, look
from lab.common.pdf.pieces import joined
from lab.common.pdf.text import (
    UnprintableText,
    missing_signs,
    refusal,
    strings_of,
)

#: The language of every fixed word on the sheet.
LANGUAGE: Final = "en-GB"


def render(snapshot_text: str) -> bytes:
    """Return the PDF of an issued certificate, the same bytes for the same snapshot.

    Parameters
    ----------
    snapshot_text : str
        The stored snapshot, as JSON, of any schema that this program reads.

    Raises
    ------
    UnknownSchema
        If a later program wrote it.
    UnprintableText
        If it holds signs that no font at hand has; all of them are named.
    FontUnusable
        If the operator named a fallback font that can't be embedded.
    """
    snapshot = read_snapshot(snapshot_text)
    missing = missing_signs(strings_of(snapshot))
    if missing:
        raise UnprintableText(refusal(missing))
    sheet = look.sheet_of(snapshot.get("paper", "a4"))
    written = BytesIO()
    document = _document(written, snapshot, sheet)
    document.build(
        _parts(snapshot, sheet.body_width), canvasmaker=canvas_for(snapshot, sheet)
    )
    return written.getvalue()


def unprintable(snapshot_text: str) -> str:
    """Return the signs of a snapshot that no font at hand has, each once."""
    return missing_signs(strings_of(read_snapshot(snapshot_text)))


def _parts(snapshot: dict[str, Any], width: float) -> list[Flowable]:
    return [
        *head.heading(snapshot, width),
        *head.items(snapshot, width),
        *results.results(snapshot, width),
        *results.conformity(snapshot),
        *closing.remarks(snapshot),
        *evidence.conditions(snapshot, width),
        *evidence.traceability(snapshot, width),
        *evidence.sessions(snapshot),
        *closing.statements(snapshot),
        *closing.signatures(snapshot, width),
    ]


def _document(
    written: BytesIO, snapshot: dict[str, Any], sheet: look.Sheet
) -> BaseDocTemplate:
    issue, owner = snapshot["issue"], snapshot["laboratory"]["name"]
    part = snapshot["part"]
    document = BaseDocTemplate(
        written,
        pagesize=(sheet.width, sheet.height),
        invariant=1,
        lang=LANGUAGE,
        initialFontName=fonts.sheet().name,
        displayDocTitle=1,
        title=f"{snapshot['title']} {issue['number']}",
        author=owner,
        subject=joined([part["number"], part["name"], f"job {snapshot['job']}"]),
        creator=f"Unbroken {issue['program_version']}",
    )
    body = Frame(
        sheet.left,
        sheet.bottom + look.BLOCK_HEIGHT,
        sheet.right - sheet.left,
        sheet.top - sheet.bottom - look.BLOCK_HEIGHT,
        leftPadding=look.PADDING,
        rightPadding=look.PADDING,
        topPadding=look.PADDING,
        bottomPadding=look.PADDING,
    )
    document.addPageTemplates([PageTemplate("sheet", [body])])
    return document
