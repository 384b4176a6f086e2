"""The folder in which stored files lie: under their hash, whole, once, for ever."""

from __future__ import annotations

import hashlib
import os
import secrets
import time
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path
from typing import Any, NoReturn

from django.core.files.base import File
from django.core.files.storage import FileSystemStorage

INCOMING = "incoming"
READ_ONLY = 0o440


class WrongHash(ValueError):
    """Bytes were to be stored under a name that is not their SHA-256."""


class RecordsStorage(FileSystemStorage):
    """A folder of files named by their SHA-256, each written once.

    A file appears under its name only when it is complete and on the disk: it is
    written beside (``incoming/``), flushed, and linked. Whoever comes second finds
    the same content there and leaves it. There is no address by which a browser
    could fetch it, and no deleting, but for :meth:`discard` of what no row names.
    """

    def get_available_name(self, name: str, max_length: int | None = None) -> str:
        return name  # one content, one name: there is nothing to step aside for

    def url(self, name: str | None) -> NoReturn:
        raise ValueError("Stored files have no address; they leave through a view.")

    def delete(self, name: str) -> NoReturn:
        raise TypeError("Stored files are kept; the sweep discards orphans only.")

    def _save(self, name: str, content: File[Any]) -> str:
        target = Path(self.path(name))
        _make_folder(target.parent, Path(self.location))
        incoming = Path(self.location, INCOMING)
        incoming.mkdir(parents=True, exist_ok=True)
        temporary = incoming / secrets.token_hex(16)
        try:
            _write_whole(temporary, content, expected=target.name)
            _appear(temporary, target)
        finally:
            temporary.unlink(missing_ok=True)
        return name

    def touch(self, name: str) -> bool:
        """Make a stored file young, so that the sweep spares it; False if not there."""
        try:
            os.utime(self.path(name))
        except FileNotFoundError:
            return False
        return True

    def names(self) -> Iterator[str]:
        """Yield the name of every stored file."""
        root = Path(self.location)
        for path in sorted(root.glob("??/??/*")):
            yield path.relative_to(root).as_posix()

    def is_older(self, name: str, age: timedelta) -> bool:
        """Tell whether a file was written, or asked for again, longer ago than this."""
        try:
            return _age_s(Path(self.path(name))) > age.total_seconds()
        except FileNotFoundError:
            return False

    def discard(self, name: str, age: timedelta) -> bool:
        """Remove a file unless it has become young meanwhile; tell whether it went.

        It is first taken from its name in one step. Whoever stores the same content
        at this moment either touched it before, and then it is put back, or finds
        nothing there and writes it anew.
        """
        path = Path(self.path(name))
        aside = Path(self.location, INCOMING, secrets.token_hex(16))
        try:
            path.rename(aside)
        except FileNotFoundError:
            return False
        if _age_s(aside) > age.total_seconds():
            aside.unlink()
            return True
        _appear(aside, path)
        aside.unlink(missing_ok=True)
        return False

    def discard_incoming(self, age: timedelta) -> int:
        """Remove what broken-off writes left behind; return how many files."""
        gone = 0
        for path in Path(self.location, INCOMING).glob("*"):
            try:
                if _age_s(path) > age.total_seconds():
                    path.unlink()
                    gone += 1
            except FileNotFoundError:
                continue  # its writer finished, or another sweep was first
        return gone


def _write_whole(path: Path, content: File[Any], *, expected: str) -> None:
    digest = hashlib.sha256()
    handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o640)
    with os.fdopen(handle, "wb") as file:
        for chunk in content.chunks():
            digest.update(chunk)
            file.write(chunk)
        file.flush()
        os.fsync(file.fileno())
    if digest.hexdigest() != expected:
        raise WrongHash(f"The bytes for {expected} have another hash.")
    if os.name == "posix":
        path.chmod(READ_ONLY)


def _appear(temporary: Path, target: Path) -> None:
    """Give a whole file its name, unless the name has been given to its like."""
    try:
        os.link(temporary, target)
    except FileExistsError:
        return
    except OSError:
        # A file system without hard links. What it may replace has the same content.
        temporary.replace(target)
    _flush_folder(target.parent)


def _make_folder(folder: Path, root: Path) -> None:
    if folder.is_dir():
        return
    folder.mkdir(parents=True, exist_ok=True)
    while folder != root:
        folder = folder.parent
        _flush_folder(folder)


def _flush_folder(folder: Path) -> None:
    """Put a folder's new entries on the disk; where folders can't be opened, skip."""
    if os.name != "posix":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def _age_s(path: Path) -> float:
    """Return seconds since a file's time stamp, by the clock that stamped it."""
    return time.time() - path.stat().st_mtime
