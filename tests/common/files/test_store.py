"""Files are kept once, whole, within their limits, and given back unchanged."""

from __future__ import annotations

import hashlib
import io
import os
import stat
import threading
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import pytest
from django.core.files.base import ContentFile
from django.core.files.uploadedfile import SimpleUploadedFile, TemporaryUploadedFile
from django.db import connection

from lab.common.errors import NotAcceptable, TooLarge
from lab.common.files import store
from lab.common.files.models import StoredFile, StoredPhoto
from lab.common.files.storage import RecordsStorage, WrongHash
from lab.common.files.store import FileDamaged, open_file, read_file, store_file
from lab.common.frozen import FrozenRecordChange

pytestmark = pytest.mark.django_db
InThreads = Callable[[Sequence[Callable[[], object]]], list[BaseException]]
REPORT = b"%PDF-1.7 a report of nothing in particular"


def files_in(storage: RecordsStorage) -> list[str]:
    root = Path(storage.location)
    return [p.relative_to(root).as_posix() for p in root.rglob("*") if p.is_file()]


def test_a_file_lies_under_its_hash_and_reads_the_same(records: RecordsStorage) -> None:
    stored = store_file(REPORT, name="report.pdf", kind="other")
    sha256 = hashlib.sha256(REPORT).hexdigest()
    assert (stored.sha256, stored.size) == (sha256, len(REPORT))
    assert stored.content_type == "application/pdf"
    assert stored.original_name == "report.pdf"
    assert files_in(records) == [f"{sha256[:2]}/{sha256[2:4]}/{sha256}"]
    assert read_file(stored) == REPORT
    with open_file(stored) as stream:
        assert stream.read(5) == b"%PDF-"


def test_the_same_content_is_one_row_and_one_file(records: RecordsStorage) -> None:
    first = store_file(REPORT, name="report.pdf", kind="other")
    path = Path(records.path(first.path))
    before = path.stat()
    again = store_file(REPORT, name="copy of report.pdf", kind="other")
    assert again == first
    assert again.original_name == "report.pdf"
    assert path.stat().st_ino == before.st_ino
    assert files_in(records) == [first.path]


@pytest.mark.parametrize(
    "make",
    [
        lambda: io.BytesIO(REPORT),
        lambda: ContentFile(REPORT),
        lambda: SimpleUploadedFile("x", REPORT),
        lambda: pipe_with(REPORT),
        lambda: uploaded_to_disk(REPORT),
    ],
)
def test_streams_of_every_sort_are_read(
    records: RecordsStorage, make: Callable[[], Any]
) -> None:
    with make() as stream:
        stored = store_file(stream, name="report.pdf", kind="other")
    assert read_file(stored) == REPORT


def pipe_with(content: bytes) -> Any:
    """Return a stream that can be read once and not rewound."""
    reading, writing = os.pipe()
    with os.fdopen(writing, "wb") as end:
        end.write(content)
    return os.fdopen(reading, "rb")


def uploaded_to_disk(content: bytes) -> TemporaryUploadedFile:
    upload = TemporaryUploadedFile("x", "text/html", len(content), None)
    upload.write(content)
    upload.seek(0)
    return upload


@pytest.mark.parametrize("make", [bytes, io.BytesIO, pipe_with])
def test_a_file_above_the_limit_of_its_kind_leaves_nothing(
    records: RecordsStorage, settings: Any, make: Callable[[bytes], Any]
) -> None:
    settings.UPLOAD_LIMITS = {**settings.UPLOAD_LIMITS, "readings": 2000}
    line = b"2026-03-17T12:00Z;20.01\n"
    content = make(line * 100)
    with pytest.raises(TooLarge, match="larger than") as refusal:
        store_file(content, name="readings.csv", kind="readings")
    assert refusal.value.field == "file"
    assert files_in(records) == []
    assert not StoredFile.objects.exists()
    store_file(line * 80, name="readings.csv", kind="readings")
    if hasattr(content, "close"):
        content.close()


def test_reading_stops_where_it_is_too_much(
    records: RecordsStorage, settings: Any
) -> None:
    settings.UPLOAD_LIMITS = {**settings.UPLOAD_LIMITS, "other": 1000}
    with open("/dev/zero", "rb") as endless, pytest.raises(TooLarge):
        store_file(endless, name="zeros", kind="other")


@pytest.mark.parametrize(
    ("content", "kind", "words"),
    [
        (b"", "other", "The file is empty"),
        (b"<html><script>", "photo", "not a JPEG, PNG or WebP picture"),
        (REPORT, "photo", "not a JPEG, PNG or WebP picture"),
        (REPORT, "mesh", "not an STL, PLY, OBJ or 3MF mesh"),
        (b"a;b\x00c", "readings", "not a text file"),
        (b"<html></html>", "readings", "not a text file"),
        (b"<svg xmlns='http://www.w3.org/2000/svg'/>", "xml", "not an XML file"),
        (b"<?xml version='1.0'?><svg/>", "xml", "not an XML file"),
        (b"plain", "xml", "not an XML file"),
    ],
)
def test_content_decides_what_a_file_is(
    records: RecordsStorage, content: bytes, kind: str, words: str
) -> None:
    with pytest.raises(NotAcceptable, match=words):
        store_file(content, name="innocent.png", kind=kind)
    assert files_in(records) == []


def test_a_file_whose_row_was_rolled_back_is_taken_up_again(
    records: RecordsStorage,
) -> None:
    sha256 = hashlib.sha256(REPORT).hexdigest()
    path = f"{sha256[:2]}/{sha256[2:4]}/{sha256}"
    records.save(path, ContentFile(REPORT))
    stored = store_file(REPORT, name="report.pdf", kind="other")
    assert stored.path == path
    assert files_in(records) == [path]


def test_a_lost_file_comes_back_when_its_content_is_sent_again(
    records: RecordsStorage,
) -> None:
    stored = store_file(REPORT, name="report.pdf", kind="other")
    Path(records.path(stored.path)).unlink()
    assert store_file(REPORT, name="report.pdf", kind="other") == stored
    assert read_file(stored) == REPORT


def test_whoever_loses_the_race_for_the_row_reads_the_winners(
    records: RecordsStorage, monkeypatch: pytest.MonkeyPatch
) -> None:
    winner: list[StoredFile] = []
    kept = store._is_kept

    def be_slow(storage: Any, path: str) -> bool:
        monkeypatch.setattr(store, "_is_kept", kept)
        winner.append(store_file(REPORT, name="first.pdf", kind="other"))
        return False

    monkeypatch.setattr(store, "_is_kept", be_slow)
    loser = store_file(REPORT, name="second.pdf", kind="other")
    assert [loser] == winner
    assert loser.original_name == "first.pdf"
    assert files_in(records) == [loser.path]


@pytest.mark.django_db(transaction=True)
@pytest.mark.postgres
def test_eight_who_store_at_once_share_a_row(
    on_postgres: None, records: RecordsStorage, in_threads: InThreads
) -> None:
    got: list[int] = []
    lock = threading.Lock()

    def store_one() -> None:
        stored = store_file(REPORT * 50_000, name="same.pdf", kind="other")
        with lock:
            got.append(stored.pk)

    assert in_threads([store_one] * 8) == []
    assert len(got) == 8
    assert len(set(got)) == 1
    assert len(files_in(records)) == 1


@pytest.mark.parametrize("damage", ["changed", "cut", "gone"])
def test_a_file_that_is_not_what_was_stored_is_not_given_out(
    records: RecordsStorage, damage: str
) -> None:
    stored = store_file(REPORT, name="report.pdf", kind="other")
    path = Path(records.path(stored.path))
    path.chmod(0o640)
    if damage == "gone":
        path.unlink()
    else:
        path.write_bytes(REPORT[:-1] + (b"" if damage == "cut" else b"!"))
    words = "is missing" if damage == "gone" else "no longer what was stored"
    with pytest.raises(FileDamaged, match=words) as refusal, open_file(stored):
        pass
    assert refusal.value.status == 500


# --- The storage itself --------------------------------------------------------


def test_the_storage_gives_no_address_and_deletes_nothing(
    records: RecordsStorage,
) -> None:
    stored = store_file(REPORT, name="report.pdf", kind="other")
    with pytest.raises(ValueError, match="no address"):
        records.url(stored.path)
    with pytest.raises(TypeError, match="kept"):
        records.delete(stored.path)
    mode = Path(records.path(stored.path)).stat().st_mode
    assert stat.S_IMODE(mode) == 0o440
    with pytest.raises(FrozenRecordChange):
        stored.delete()


def test_the_storage_never_overwrites_and_never_renames(
    records: RecordsStorage,
) -> None:
    stored = store_file(REPORT, name="report.pdf", kind="other")
    inode = Path(records.path(stored.path)).stat().st_ino
    assert records.save(stored.path, ContentFile(REPORT)) == stored.path
    assert Path(records.path(stored.path)).stat().st_ino == inode


def test_the_storage_takes_bytes_under_their_own_hash_only(
    records: RecordsStorage,
) -> None:
    sha256 = hashlib.sha256(REPORT).hexdigest()
    with pytest.raises(WrongHash):
        records.save(f"aa/bb/{sha256}", ContentFile(b"others"))
    assert files_in(records) == []


def test_a_write_broken_off_leaves_no_file_under_the_name(
    records: RecordsStorage,
) -> None:
    class Breaking(ContentFile):
        def chunks(self, chunk_size: int | None = None) -> Any:
            yield REPORT[:10]
            raise OSError("No space left on device")

    sha256 = hashlib.sha256(REPORT).hexdigest()
    with pytest.raises(OSError, match="No space"):
        records.save(f"{sha256[:2]}/{sha256[2:4]}/{sha256}", Breaking(REPORT))
    assert files_in(records) == []


def test_a_file_system_without_hard_links_will_do(
    records: RecordsStorage, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(*_paths: Any) -> None:
        raise PermissionError("Operation not permitted")

    monkeypatch.setattr(os, "link", refuse)
    stored = store_file(REPORT, name="report.pdf", kind="other")
    assert files_in(records) == [stored.path]
    assert read_file(stored) == REPORT


# --- Photos and names --------------------------------------------------------


def test_a_photo_is_stored_as_our_encoder_wrote_it(
    records: RecordsStorage, picture: Callable[..., bytes]
) -> None:
    sent = picture("JPEG", comment=b"<script>alert(1)</script>")
    stored = store_file(sent, name="bracket.jpg", kind="photo")
    kept = read_file(stored)
    assert kept != sent
    assert b"script" not in kept
    assert stored.content_type == "image/jpeg"
    photo = StoredPhoto.objects.get(file=stored)
    assert (photo.width, photo.height) == (40, 20)
    assert store_file(sent, name="bracket.jpg", kind="photo") == stored


def test_a_photo_with_too_many_pixels_is_refused_in_words(
    records: RecordsStorage, picture: Callable[..., bytes], settings: Any
) -> None:
    settings.PHOTO_MAX_PIXELS = 799
    with pytest.raises(NotAcceptable, match="40 × 20 pixels") as refusal:
        store_file(picture(), name="bracket.jpg", kind="photo")
    assert refusal.value.field == "file"
    assert files_in(records) == []


@pytest.mark.parametrize(
    ("sent", "shown"),
    [
        ("report.pdf", "report.pdf"),
        ("../../etc/passwd", "passwd"),
        ("C:\\scans\\part 7.stl", "part 7.stl"),
        ("a\r\nSet-Cookie: b.txt", "aSet-Cookie: b.txt"),
        ("\u202egnp.exe", "gnp.exe"),
        ("", "unnamed"),
        ("x" * 300 + ".stl", "x" * 196 + ".stl"),
    ],
)
def test_a_senders_name_is_shown_without_what_could_mislead(
    sent: str, shown: str
) -> None:
    assert store.shown_name(sent) == shown


def test_the_row_is_fenced_in_the_database(records: RecordsStorage) -> None:
    stored = store_file(REPORT, name="report.pdf", kind="other")
    with (
        pytest.raises(Exception, match="insert-only"),
        connection.cursor() as cursor,
    ):
        cursor.execute("DELETE FROM common_storedfile WHERE id = %s", [stored.pk])
