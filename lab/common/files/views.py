"""The one way that files leave the program. The caller has checked who may have it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Final

from django.http import FileResponse, HttpResponseBase, StreamingHttpResponse
from django.utils.http import content_disposition_header

from lab.common.files.csvout import Cell, csv_lines
from lab.common.files.kinds import ENDINGS, PHOTOS, UNKNOWN
from lab.common.files.models import StoredFile, StoredPhoto
from lab.common.files.store import open_verified, shown_name

#: Even opened in a tab of its own, a file runs nothing and loads nothing.
SANDBOX: Final = "sandbox; default-src 'none'; frame-ancestors 'none'"
#: Endings that an operating system would open in a browser or run.
ACTIVE: Final = frozenset(
    "htm html xhtml xht shtml mht mhtml svg svgz xsl xslt js mjs hta lnk url exe com "  # noqa: SIM905 - as a list it is thirty lines
    "bat cmd ps1 vbs msi scr jar swf".split()
)


def file_response(
    stored: StoredFile, filename: str = "", *, inline: bool = False
) -> HttpResponseBase:
    """Send a stored file, its hash found unchanged, as something to be saved.

    Parameters
    ----------
    stored : StoredFile
    filename : str, optional
        What it is called when saved; its ending is made to agree with its type.
    inline : bool
        Show it inside a page. Only photos that our own encoder wrote may be.

    Raises
    ------
    FileDamaged
        If the file is missing or no longer what was stored.
    ValueError
        If ``inline`` is asked for anything else than such a photo.
    """
    if inline and not is_shown_inline(stored):
        raise ValueError(f"{stored.original_name} is no photo that we encoded.")
    content_type = stored.content_type if stored.content_type in ENDINGS else UNKNOWN
    response = FileResponse(open_verified(stored), content_type=content_type)
    response["Content-Length"] = str(stored.size)
    name = saved_name(filename or stored.original_name, content_type)
    return _fenced(response, name, inline=inline)


def csv_response(
    filename: str, header: Sequence[str], rows: Iterable[Sequence[Cell]]
) -> HttpResponseBase:
    """Send a table as CSV whose cells no spreadsheet takes for formulas."""
    lines = csv_lines(header, rows)
    response = StreamingHttpResponse(lines, content_type="text/csv; charset=utf-8")
    name = f"{shown_name(filename).removesuffix('.csv')}.csv"
    return _fenced(response, name, inline=False)


def is_shown_inline(stored: StoredFile) -> bool:
    """Tell whether a file may be part of a page: a photo written by our encoder."""
    written = StoredPhoto.objects.filter(file=stored)
    return stored.content_type in PHOTOS and written.exists()


def saved_name(name: str, content_type: str) -> str:
    """Return a name to save under that promises what the content is.

    >>> saved_name("bracket.html", "application/pdf")
    'bracket.html.pdf'
    """
    shown = shown_name(name)
    ending = shown.rpartition(".")[2].lower() if "." in shown else ""
    endings = ENDINGS.get(content_type, ())
    if endings:
        return shown if ending in endings else f"{shown}.{endings[0]}"
    return f"{shown}.bin" if ending in ACTIVE else shown


def _fenced(response: HttpResponseBase, name: str, *, inline: bool) -> HttpResponseBase:
    disposition = content_disposition_header(not inline, name)
    response["Content-Disposition"] = str(disposition)
    response["X-Content-Type-Options"] = "nosniff"
    response["Content-Security-Policy"] = SANDBOX
    response["Cross-Origin-Resource-Policy"] = "same-origin"
    response["Cache-Control"] = "private, no-store"
    return response
