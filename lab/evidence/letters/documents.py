"""The PDF of a letter: drawn from its snapshot, stored once, served for ever."""

from __future__ import annotations

from collections.abc import Iterable
from functools import partial
from io import BytesIO
from typing import Any, Final

from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import (
    BaseDocTemplate,
    Flowable,
    Frame,
    KeepTogether,
    PageTemplate,
)

from lab.common.files.store import store_file
from lab.common.pdf import fonts, look, pieces
from lab.common.pdf.text import drawable, printable
from lab.evidence.letters.content import read_letter
from lab.evidence.models import Letter, LetterDocument

LANGUAGE: Final = "en-GB"
FOOT: Final = 20


def render_letter(letter_id: int) -> None:
    """Store the document once; run again, or by two at once, it changes nothing."""
    letter = Letter.objects.get(pk=letter_id)
    if LetterDocument.objects.filter(letter=letter).exists():
        return
    content = read_letter(letter)
    name = f"case-{letter.case_id}-letter-{letter.pk}.pdf"
    stored = store_file(letter_pdf(content), name=name, kind="other")
    LetterDocument.objects.get_or_create(letter=letter, defaults={"file": stored})


def letter_pdf(content: dict[str, Any]) -> bytes:
    """Return the letter on paper: the same bytes for the same content."""
    sheet = look.sheet_of(content["paper"])
    written = BytesIO()
    document = BaseDocTemplate(
        written,
        pagesize=(sheet.width, sheet.height),
        invariant=1,
        lang=LANGUAGE,
        initialFontName=fonts.sheet().name,
        displayDocTitle=1,
        title=f"{content['reference']}: {content['subject']}",
        author=content["laboratory"],
        creator="Unbroken",
    )
    height = sheet.top - sheet.bottom - FOOT
    body = Frame(
        sheet.left, sheet.bottom + FOOT, sheet.right - sheet.left, height, id="body"
    )
    foot = partial(_foot, content=content, sheet=sheet)
    document.addPageTemplates([PageTemplate("letter", [body], onPage=foot)])
    document.build(list(_parts(content, sheet.right - sheet.left - 12)))
    return written.getvalue()


def _foot(
    canvas: Canvas, _document: object, *, content: dict[str, Any], sheet: look.Sheet
) -> None:
    canvas.saveState()
    canvas.setFont(fonts.PLAIN, 7)
    canvas.setFillColor(look.QUIET)
    said = f"{content['laboratory']}, {content['reference']}, {content['date']}"
    canvas.drawString(sheet.left + 6, sheet.bottom, drawable(said))
    page = f"page {canvas.getPageNumber()}"
    canvas.drawRightString(sheet.right - 6, sheet.bottom, page)
    canvas.restoreState()


def _parts(content: dict[str, Any], width: float) -> Iterable[Flowable]:
    yield _paragraph(content["laboratory"], look.OWNER)
    yield from _lines(content["laboratory_address"], look.SMALL)
    yield _paragraph(content["laboratory_reach"], look.SMALL)
    yield pieces.gap(36)
    yield from _lines(content["contact"], look.BODY)
    yield _paragraph(content["customer"])
    yield from _lines(content["customer_address"], look.BODY)
    yield pieces.gap(28)
    yield _paragraph(f"{content['date']}, our reference: {content['reference']}")
    yield pieces.gap(10)
    yield _paragraph(content["subject"], look.SECTION)
    yield _paragraph(content["opening"], look.SAID)
    yield from _lines(content["facts"], look.SAID)
    yield pieces.gap(4)
    rows = [
        [printable(one[name]) for name in ("number", "issued", "order", "asked")]
        for one in content["certificates"]
    ]
    heads = ("Certificate", "Issued", "Your order", "What becomes of it")
    yield pieces.plain_table(heads, rows, (1.3, 1, 1.1, 3.6), width)
    yield pieces.gap(8)
    yield _paragraph(content["closing"], look.SAID)
    signed = [pieces.gap(30), _paragraph(content["writer"], look.STRONG_BODY)]
    signed += [_paragraph(f"{content['writer_role']}, {content['laboratory']}")]
    yield KeepTogether(signed)


def _paragraph(said: object, style: Any = look.BODY) -> Flowable:
    return pieces.paragraph(printable(said), style)


def _lines(said: str, style: Any) -> Iterable[Flowable]:
    return [_paragraph(line, style) for line in said.splitlines() if line.strip()]
