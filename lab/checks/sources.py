"""Readings out of a file: read in the sandbox, and known again when they come back.

The file is kept when it is read. What was read goes to the page with a signature and
comes back with the form; a reading that was changed meanwhile is no longer what the
file says, and is refused.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import timedelta
from typing import Any, Final

from django.core import signing
from django.core.files import File

from lab.checks.judging import quantity_of
from lab.checks.models import ProcedureRevision
from lab.common.errors import NotAcceptable
from lab.common.files.models import StoredFile
from lab.common.sandbox import run_sandboxed

SALT: Final = "lab.checks.sources"
#: A form that lay open for longer is read into anew.
LONGEST: Final = timedelta(hours=12)
SECONDS, MEMORY_MB = 60, 1500
#: A nanometre and a picometre: finer than any check can tell.
PLACES: Final = {"mm": 6, "µm": 3, "m": 9, "in": 7}
PER_MM: Final = {"mm": 1.0, "µm": 1000.0, "m": 0.001, "in": 1 / 25.4}


@dataclass(frozen=True, slots=True)
class Source:
    """What a file says of a check: the text of each reading, and how it was read."""

    texts: dict[str, str]
    note: str
    file: StoredFile | None = None

    def signed(self, revision: ProcedureRevision) -> str:
        """Return this as a text that nobody else can have made."""
        content = {
            "texts": self.texts,
            "note": self.note,
            "file": self.file.pk if self.file else None,
            "revision": revision.pk,
        }
        return signing.dumps(content, salt=SALT)


def source_in(upload: File[Any], revision: ProcedureRevision, unit: str) -> Source:
    """Read a file of readings or of measured points; nothing is kept.

    Raises
    ------
    NotAcceptable
        If it can't be read, or the readings can't be fitted to its points.
    """
    asked = {"quantity": quantity_of(revision).value, "names": revision.reading_names}
    upload.seek(0)
    payload = json.dumps(asked).encode() + b"\n" + upload.read()
    try:
        answer = run_sandboxed(
            "lab.checks.fitting:read", payload, timeout_s=SECONDS, memory_mb=MEMORY_MB
        )
    except NotAcceptable as refusal:
        raise NotAcceptable(refusal.sentence, field="points") from None
    found = json.loads(answer)
    fitted: dict[str, float] = found["fitted_mm"]
    texts: dict[str, str] = found["texts"]
    texts |= {
        name: f"{value * PER_MM[unit]:.{PLACES[unit]}f}"
        for name, value in fitted.items()
    }
    note = " ".join(found["notes"]) or f"{len(texts)} readings as the file has them."
    return Source(texts, note)


def source_of(signed: str, revision: ProcedureRevision) -> Source:
    """Return what was read from a file when the form was filled.

    Raises
    ------
    NotAcceptable
        If the text is not ours, too old, or of another procedure.
    """
    try:
        content = signing.loads(signed, salt=SALT, max_age=LONGEST)
    except signing.BadSignature:
        content = None
    if content is None or content["revision"] != revision.pk:
        raise NotAcceptable("This form lost its file. Open it anew and read it again.")
    file = StoredFile.objects.get(pk=content["file"])
    return Source(content["texts"], content["note"], file)


def require_unchanged(source: Source, typed: Mapping[str, str]) -> None:
    """Refuse readings that are no longer what the file says.

    Raises
    ------
    NotAcceptable
        With the first reading that was changed.
    """
    for name, text in source.texts.items():
        if typed.get(name, "").strip() != text:
            raise NotAcceptable(
                f"{name} was read from {source.file} as {text}. Put that back, or open "
                "the form anew and type every reading by hand."
            )
