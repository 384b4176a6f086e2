"""Keep a file, once; give it back only if it is still what was kept."""

from __future__ import annotations

import hashlib
import io
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import IO, Any, Final

from django.conf import settings
from django.core.files.base import File
from django.core.files.storage import Storage, storages

from lab.common.errors import DomainError, NotAcceptable, TooLarge
from lab.common.files import photos
from lab.common.files.kinds import HEAD_LENGTH, TAKEN_IN_WORDS, sniff
from lab.common.files.models import StoredFile, StoredPhoto
from lab.common.sandbox import run_sandboxed

CHUNK: Final = 256 * 1024
IN_MEMORY: Final = 2 * 1024 * 1024
MEGABYTE: Final = 1024 * 1024
PHOTO_SECONDS, PHOTO_MEMORY_MB = 30, 1500


class FileDamaged(DomainError):
    """A stored file is missing, or is no longer what was stored."""

    status = 500


@dataclass(frozen=True, slots=True)
class Measured:
    """What reading a file once showed."""

    sha256: str
    size: int
    head: bytes


def records() -> Storage:
    """Return the storage in which files lie."""
    return storages["records"]


def store_file(
    content: bytes | IO[bytes] | File[Any], *, name: str, kind: str
) -> StoredFile:
    """Keep a file's content under its hash and return its row.

    The same content sent twice is one row, which keeps its first name. Nothing is
    ever overwritten. The file is complete on the disk before its row is written, so
    that a row always has its file; a file whose row never came is swept later.
    A photo is encoded anew (:mod:`lab.common.files.photos`), and what is kept is the
    new picture.

    Parameters
    ----------
    content : bytes or binary file
        A stream is read from where it stands.
    name : str
        What the sender calls it; only ever shown.
    kind : str
        One of ``UPLOAD_LIMITS``: how large it may be and which types it may have.

    Raises
    ------
    TooLarge
        If it is larger than its kind may be; reading stops there.
    NotAcceptable
        If it is empty, or not of a type that its kind takes.
    """
    with _rewindable(content, kind) as stream:
        start = stream.tell()
        measured = _measure(stream, kind)
        content_type = _type_of(measured, kind)
        stream.seek(start)
        if kind == "photo":
            return _store_photo(stream.read(), name)
        return _store(stream, measured, content_type, name)


@contextmanager
def open_file(stored: StoredFile) -> Iterator[IO[bytes]]:
    """Open a stored file for reading, after its hash was found unchanged.

    Raises
    ------
    FileDamaged
        If it is not there, or any byte of it differs from what was stored.
    """
    with open_verified(stored) as stream:
        yield stream


def open_verified(stored: StoredFile) -> IO[bytes]:
    """Open a stored file as :func:`open_file` does; whoever calls must close it."""
    try:
        stream: IO[bytes] = records().open(stored.path, "rb")
    except FileNotFoundError:
        raise FileDamaged(
            f"The stored file {stored.original_name} is missing. Tell the quality "
            "manager: it must come back from a backup."
        ) from None
    digest = hashlib.sha256()
    while chunk := stream.read(CHUNK):
        digest.update(chunk)
    if digest.hexdigest() != stored.sha256:
        stream.close()
        raise FileDamaged(
            f"The stored file {stored.original_name} is no longer what was stored. "
            "Tell the quality manager: it must come back from a backup."
        )
    stream.seek(0)
    return stream


def read_file(stored: StoredFile) -> bytes:
    """Return the whole content of a stored file, its hash found unchanged."""
    with open_file(stored) as stream:
        return stream.read()


# --- How a file is kept ---------------------------------------------------------------


@contextmanager
def _rewindable(
    content: bytes | IO[bytes] | File[Any], kind: str
) -> Iterator[IO[bytes] | File[Any]]:
    """Give the content as something that can be read twice."""
    if isinstance(content, bytes):
        yield io.BytesIO(content)
    elif content.seekable():
        yield content
    else:
        with tempfile.SpooledTemporaryFile(max_size=IN_MEMORY) as copy:
            limit, size = settings.UPLOAD_LIMITS[kind], 0
            while size <= limit and (chunk := content.read(CHUNK)):
                size += copy.write(chunk)
            copy.seek(0)
            yield copy


def _measure(stream: IO[bytes] | File[Any], kind: str) -> Measured:
    """Read to the end, or to where it is too much."""
    limit: int = settings.UPLOAD_LIMITS[kind]
    digest, size, head = hashlib.sha256(), 0, b""
    while chunk := stream.read(CHUNK):
        size += len(chunk)
        if size > limit:
            raise TooLarge(
                f"The file is larger than {limit / MEGABYTE:g} MB, the most that is "
                "taken here. Send a smaller one; whoever runs the program can raise "
                "the limit.",
                field="file",
            )
        digest.update(chunk)
        head = head or chunk[:HEAD_LENGTH]
    return Measured(digest.hexdigest(), size, head)


def _type_of(measured: Measured, kind: str) -> str:
    if not measured.size:
        raise NotAcceptable(
            "The file is empty. Choose the one you meant.", field="file"
        )
    content_type = sniff(measured.head, measured.size, kind)
    if content_type is None:
        raise NotAcceptable(
            f"By its content this is not {TAKEN_IN_WORDS[kind]}, whatever its name "
            "says. Choose the file you meant.",
            field="file",
        )
    return content_type


def _store_photo(blob: bytes, name: str) -> StoredFile:
    payload = b"%d\n" % settings.PHOTO_MAX_PIXELS + blob
    answer = run_sandboxed(
        "lab.common.files.photos:reencode_in_child",
        payload,
        timeout_s=PHOTO_SECONDS,
        memory_mb=PHOTO_MEMORY_MB,
    )
    picture = photos.read_answer(answer)
    sha256 = hashlib.sha256(picture.content).hexdigest()
    measured = Measured(sha256, len(picture.content), picture.content[:HEAD_LENGTH])
    stream = io.BytesIO(picture.content)
    stored = _store(stream, measured, picture.content_type, name)
    StoredPhoto.objects.get_or_create(
        file=stored, defaults={"width": picture.width, "height": picture.height}
    )
    return stored


def _store(
    stream: IO[bytes] | File[Any], measured: Measured, content_type: str, name: str
) -> StoredFile:
    row = StoredFile(
        sha256=measured.sha256,
        size=measured.size,
        content_type=content_type,
        original_name=shown_name(name),
    )
    storage = records()
    if not _is_kept(storage, row.path):
        storage.save(row.path, File(stream))
    # Two who store the same content at once: one inserts, the other reads that row.
    stored, _ = StoredFile.objects.get_or_create(
        sha256=row.sha256,
        defaults={
            "size": row.size,
            "content_type": row.content_type,
            "original_name": row.original_name,
        },
    )
    return stored


def _is_kept(storage: Storage, path: str) -> bool:
    """Tell whether the content lies there already, and keep the sweep off it."""
    touch = getattr(storage, "touch", None)
    return bool(touch(path) if touch else storage.exists(path))


def shown_name(name: str) -> str:
    """Return a sender's file name without folders and control characters."""
    base = name.replace("\\", "/").rpartition("/")[2]
    shown = "".join(letter for letter in base if letter.isprintable()).strip()
    stem, dot, ending = shown.rpartition(".")
    if len(shown) > 200 and dot:
        shown = f"{stem[: 199 - len(ending)]}.{ending}"
    return shown[:200] or "unnamed"
