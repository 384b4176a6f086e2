"""Orphans and leavings go after seven days; whatever a row names stays."""

from __future__ import annotations

import hashlib
import os
import time
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from django.core.files.base import ContentFile

from lab.common.files import sweep
from lab.common.files.models import StoredFile
from lab.common.files.storage import RecordsStorage
from lab.common.files.store import read_file, store_file
from lab.common.files.sweep import Swept, sweep_orphans

pytestmark = pytest.mark.django_db
WEEK_S = 7 * 24 * 3600


def put_orphan(records: RecordsStorage, content: bytes) -> str:
    sha256 = hashlib.sha256(content).hexdigest()
    return records.save(f"{sha256[:2]}/{sha256[2:4]}/{sha256}", ContentFile(content))


def make_old(path: Path, seconds: float = WEEK_S + 60) -> None:
    then = time.time() - seconds
    os.utime(path, (then, then))


def test_an_old_orphan_goes_and_a_young_one_stays(records: RecordsStorage) -> None:
    old, young = put_orphan(records, b"old"), put_orphan(records, b"young")
    make_old(Path(records.path(old)))
    make_old(Path(records.path(young)), WEEK_S - 60)
    assert sweep_orphans() == Swept(orphans=1, unfinished=0)
    assert list(records.names()) == [young]
    assert sweep_orphans() == Swept(0, 0)


def test_a_file_with_a_row_stays_however_old(records: RecordsStorage) -> None:
    stored = store_file(b"kept", name="kept.txt", kind="other")
    make_old(Path(records.path(stored.path)), 10 * 365 * 24 * 3600)
    assert sweep_orphans() == Swept(0, 0)
    assert read_file(stored) == b"kept"


def test_more_than_one_batch_is_looked_through(
    records: RecordsStorage, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sweep, "BATCH", 2)
    for turn in range(5):
        make_old(Path(records.path(put_orphan(records, b"orphan %d" % turn))))
    kept = store_file(b"kept", name="kept.txt", kind="other")
    make_old(Path(records.path(kept.path)))
    assert sweep_orphans().orphans == 5
    assert list(records.names()) == [kept.path]


def test_leavings_of_broken_off_writes_go(records: RecordsStorage) -> None:
    incoming = Path(records.location, "incoming")
    incoming.mkdir(parents=True)
    for name, age in [("stale", WEEK_S + 60), ("being-written", 10)]:
        (incoming / name).write_bytes(b"half")
        make_old(incoming / name, age)
    assert sweep_orphans() == Swept(orphans=0, unfinished=1)
    assert [path.name for path in incoming.iterdir()] == ["being-written"]


def test_content_asked_for_while_the_sweep_looks_is_spared(
    records: RecordsStorage, monkeypatch: pytest.MonkeyPatch
) -> None:
    name = put_orphan(records, b"in between")
    make_old(Path(records.path(name)))
    found = sweep._discard_orphans

    def store_first(storage: RecordsStorage, names: list[str]) -> int:
        # After the file was found old, and before it is taken away.
        if names:
            records.touch(name)
        return found(storage, names)

    monkeypatch.setattr(sweep, "_discard_orphans", store_first)
    assert sweep_orphans().orphans == 0
    assert list(records.names()) == [name]
    assert Path(records.path(name)).read_bytes() == b"in between"
    assert not list(Path(records.location, "incoming").iterdir())


def test_content_asked_for_just_after_it_was_taken_away_is_written_anew(
    records: RecordsStorage, monkeypatch: pytest.MonkeyPatch
) -> None:
    name = put_orphan(records, b"just after")
    make_old(Path(records.path(name)))
    rename = Path.rename
    stored: list[StoredFile] = []

    def rename_then_store(path: Path, target: Any) -> Path:
        monkeypatch.setattr(Path, "rename", rename)
        moved = rename(path, target)
        stored.append(store_file(b"just after", name="a.txt", kind="other"))
        return moved

    monkeypatch.setattr(Path, "rename", rename_then_store)
    sweep_orphans()
    assert read_file(stored[0]) == b"just after"


def test_a_storage_that_cannot_look_twice_is_left_alone(
    tmp_path: Path, settings: Any
) -> None:
    plain = {
        "BACKEND": "django.core.files.storage.FileSystemStorage",
        "OPTIONS": {"location": tmp_path},
    }
    settings.STORAGES = {**settings.STORAGES, "records": plain}
    orphan = tmp_path / "aa" / "bb" / "cc"
    orphan.parent.mkdir(parents=True)
    orphan.write_bytes(b"orphan")
    make_old(orphan)
    assert sweep_orphans() == Swept(0, 0)
    assert orphan.exists()


def test_an_age_is_measured_from_the_last_time_it_was_asked_for(
    records: RecordsStorage,
) -> None:
    name = put_orphan(records, b"x")
    assert not records.is_older(name, timedelta(hours=1))
    assert not records.is_older("aa/bb/none", timedelta(0))
    assert not records.touch("aa/bb/none")
    assert not records.discard("aa/bb/none", timedelta(0))
