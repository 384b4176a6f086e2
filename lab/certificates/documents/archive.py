"""A drawn certificate made fit to be kept: PDF/A-3b, with its results attached.

ISO 19005-3 (PDF/A-3) wants the colours defined, the description inside the file, and
each attachment named with what it is to the document. Nothing that was drawn changes,
and the same input gives the same bytes.
"""

from __future__ import annotations

import functools
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from importlib.resources import files
from io import BytesIO
from typing import Final

import pikepdf
from pikepdf.models.metadata import encode_pdf_date

#: The standard's names of the part and level that are declared.
PART, LEVEL = "3", "B"
PRODUCER: Final = "Unbroken"
#: The flag of an annotation that is printed (ISO 32000-2, 12.5.3).
PRINTED: Final = 4


@dataclass(frozen=True, slots=True)
class Attachment:
    """A file inside the document; ``relationship`` in the words of ISO 32000-2."""

    name: str
    description: str
    mime_type: str
    content: bytes
    relationship: str = "Data"


def archived(
    drawn: bytes, at: datetime, attachments: Sequence[Attachment] = ()
) -> bytes:
    """Return the document as PDF/A-3b, its attachments inside.

    Parameters
    ----------
    drawn : bytes
        A PDF with every font embedded and colours in device RGB or grey.
    at : datetime
        The aware instant of issue, which the file says it was made at.
    """
    written = BytesIO()
    with pikepdf.open(BytesIO(drawn)) as pdf:
        _describe(pdf, at.replace(microsecond=0))
        _define_colours(pdf)
        _print_links(pdf)
        for one in attachments:
            _attach(pdf, one, at.replace(microsecond=0))
        pdf.save(
            written,
            deterministic_id=True,
            min_version="1.7",
            object_stream_mode=pikepdf.ObjectStreamMode.generate,
        )
    return written.getvalue()


def _describe(pdf: pikepdf.Pdf, at: datetime) -> None:
    """Say the same in the older place for it and in the one that PDF/A asks for."""
    told = pdf.docinfo
    if "/Trapped" in told:
        del told["/Trapped"]  # has no place in the newer description
    told["/Producer"] = PRODUCER
    told["/CreationDate"] = told["/ModDate"] = encode_pdf_date(at)
    with pdf.open_metadata(set_pikepdf_as_editor=False, update_docinfo=False) as xmp:
        xmp.load_from_docinfo(told)
        xmp["pdfaid:part"] = PART
        xmp["pdfaid:conformance"] = LEVEL


def _define_colours(pdf: pikepdf.Pdf) -> None:
    """Say that device RGB means sRGB, by the profile that comes with pikepdf."""
    profile = pdf.make_stream(_srgb(), N=3)
    intent = pikepdf.Dictionary(
        Type=pikepdf.Name.OutputIntent,
        S=pikepdf.Name.GTS_PDFA1,
        OutputConditionIdentifier="sRGB",
        Info="sRGB",
        DestOutputProfile=profile,
    )
    pdf.Root.OutputIntents = pikepdf.Array([pdf.make_indirect(intent)])


@functools.cache
def _srgb() -> bytes:
    return files("pikepdf").joinpath("pdfa", "data", "sRGB.icc").read_bytes()


def _print_links(pdf: pikepdf.Pdf) -> None:
    """Give links the flag that every annotation must have: shown on paper too."""
    for page in pdf.pages:
        for annotation in page.get("/Annots", []):
            annotation.F = PRINTED


def _attach(pdf: pikepdf.Pdf, one: Attachment, at: datetime) -> None:
    specification = pikepdf.AttachedFileSpec(
        pdf,
        one.content,
        filename=one.name,
        description=one.description,
        mime_type=one.mime_type,
        relationship=pikepdf.Name(f"/{one.relationship}"),
        creation_date=encode_pdf_date(at),
        mod_date=encode_pdf_date(at),
    )
    pdf.attachments[one.name] = specification
    if "/AF" not in pdf.Root:
        pdf.Root.AF = pikepdf.Array()
    pdf.Root.AF.append(pdf.attachments[one.name].obj)
