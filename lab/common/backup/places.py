"""Where a backup lies: a folder or one zip file, written whole or not at all."""

from __future__ import annotations

import hashlib
import os
import secrets
import shutil
import zipfile
from abc import ABC, abstractmethod
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import IO, Any, Final

from lab.common.backup.manifest import MANIFEST, BackupRefused, Part

CHUNK: Final = 1024 * 1024


class Place(ABC):
    """A folder or zip file that holds the named parts of one backup."""

    @abstractmethod
    def create(self, name: str) -> IO[bytes]:
        """Open a new part for writing."""

    @abstractmethod
    def open(self, name: str) -> IO[bytes]:
        """Open a part for reading; KeyError or OSError where there is none."""

    @abstractmethod
    def names(self) -> set[str]:
        """Return the name of every file that lies here."""

    def add(self, name: str, content: IO[bytes]) -> Part:
        """Copy a stream in as a part and tell its hash and size."""
        digest, size = hashlib.sha256(), 0
        with self.create(name) as part:
            while chunk := content.read(CHUNK):
                digest.update(chunk)
                size += part.write(chunk)
        return Part(name, digest.hexdigest(), size)

    def read(self, name: str, longest: int) -> bytes:
        """Return a whole part, which must not be longer than this."""
        with self.open(name) as stream:
            blob = stream.read(longest + 1)
        if len(blob) > longest:
            raise BackupRefused(f"{name} is too long to be what its name says.")
        return blob

    def verify(self, part: Part) -> None:
        """Refuse a part that is not what the manifest says.

        Raises
        ------
        BackupRefused
            If it is missing, longer or shorter, or has another hash.
        """
        digest, size = hashlib.sha256(), 0
        try:
            with self.open(part.name) as stream:
                # One byte more than stated is enough to know, however long it swells.
                while size <= part.size and (chunk := stream.read(CHUNK)):
                    size += len(chunk)
                    digest.update(chunk)
        except (KeyError, OSError, zipfile.BadZipFile, EOFError):
            raise BackupRefused(
                f"{part.name} is missing from the backup or can't be read. Nothing was "
                "restored; use another copy."
            ) from None
        if size != part.size or digest.hexdigest() != part.sha256:
            raise BackupRefused(
                f"{part.name} is not what was backed up: its hash differs. Nothing was "
                "restored; use another copy."
            )


class Folder(Place):
    """A backup as a folder of files."""

    def __init__(self, path: Path) -> None:
        self.path = path

    def create(self, name: str) -> IO[bytes]:
        target = self.path / name
        target.parent.mkdir(parents=True, exist_ok=True)
        return target.open("xb")

    def open(self, name: str) -> IO[bytes]:
        return (self.path / name).open("rb")

    def names(self) -> set[str]:
        files = (path for path in self.path.rglob("*") if not path.is_dir())
        return {path.relative_to(self.path).as_posix() for path in files}


class Zip(Place):
    """A backup as one zip file."""

    def __init__(self, archive: zipfile.ZipFile) -> None:
        self.archive = archive

    def create(self, name: str) -> IO[bytes]:
        return self.archive.open(_zip_entry(name), "w", force_zip64=True)

    def open(self, name: str) -> IO[bytes]:
        return self.archive.open(name)

    def names(self) -> set[str]:
        return {
            entry.filename for entry in self.archive.infolist() if not entry.is_dir()
        }


def _zip_entry(name: str) -> zipfile.ZipInfo:
    """Return an entry that carries no date and no rights of the machine it is from."""
    entry = zipfile.ZipInfo(name)
    entry.compress_type = zipfile.ZIP_DEFLATED
    entry.external_attr = 0o600 << 16
    return entry


@contextmanager
def new_place(target: Path) -> Iterator[Place]:
    """Give a place to write a backup to; it gets its name when it is whole and flushed.

    Until then it lies beside, under a name that begins with a dot, readable by its
    owner alone. A failure removes it.

    Raises
    ------
    BackupRefused
        If something lies at ``target`` already.
    """
    if target.exists() and not _is_empty_folder(target):
        raise BackupRefused(f"{target} exists already. Name a new file or folder.")
    beside = target.with_name(f".{target.name}.{secrets.token_hex(4)}")
    try:
        if target.suffix.lower() == ".zip":
            with _private_file(beside) as file, zipfile.ZipFile(file, "w") as archive:
                yield Zip(archive)
        else:
            beside.mkdir(mode=0o700)
            yield Folder(beside)
        _flush(beside)
        if target.is_dir():
            target.rmdir()
        beside.rename(target)
    finally:
        if beside.is_dir():
            shutil.rmtree(beside)
        else:
            beside.unlink(missing_ok=True)


@contextmanager
def existing_place(source: Path) -> Iterator[Place]:
    """Open a backup that was made before.

    Raises
    ------
    BackupRefused
        If there is none.
    """
    if source.is_dir():
        if not (source / MANIFEST).is_file():
            raise BackupRefused(f"{source} holds no {MANIFEST}: it is no backup.")
        yield Folder(source)
        return
    try:
        archive = zipfile.ZipFile(source)
    except FileNotFoundError:
        raise BackupRefused(f"There is nothing at {source}.") from None
    except (OSError, zipfile.BadZipFile):
        raise BackupRefused(f"{source} is neither a folder nor a zip file.") from None
    with archive:
        if MANIFEST not in archive.namelist():
            raise BackupRefused(f"{source} holds no {MANIFEST}: it is no backup.")
        yield Zip(archive)


def _is_empty_folder(path: Path) -> bool:
    return path.is_dir() and not any(path.iterdir())


def _private_file(path: Path) -> IO[Any]:
    handle = os.open(path, os.O_RDWR | os.O_CREAT | os.O_EXCL, 0o600)
    return os.fdopen(handle, "w+b")


def _flush(path: Path) -> None:
    """Put every file below a path on the disk."""
    for file in [path] if path.is_file() else path.rglob("*"):
        if file.is_file():
            with file.open("rb+") as stream:
                os.fsync(stream.fileno())
