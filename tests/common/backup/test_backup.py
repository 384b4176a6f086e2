"""A backup is whole or not there; a damaged one restores nothing."""

from __future__ import annotations

import json
import shutil
import zipfile
from collections.abc import Callable, Iterator
from dataclasses import replace
from io import StringIO
from pathlib import Path
from typing import Any

import pytest
from django.core.files.storage import storages
from django.core.management import CommandError, call_command
from django.db import connection
from django.db.migrations.recorder import MigrationRecorder

from lab.common import audit
from lab.common.actors import PROGRAM
from lab.common.backup import databases, making, places, restoring
from lab.common.backup.making import Made, make_backup
from lab.common.backup.manifest import (
    MANIFEST,
    BackupRefused,
    Manifest,
    Part,
    read_manifest,
)
from lab.common.backup.restoring import restore_backup
from lab.common.files.models import StoredFile
from lab.common.files.store import store_file
from lab.common.jsontext import sha256_hex

# pg_dump reads what is committed, so the rows must be.
pytestmark = pytest.mark.django_db(transaction=True)
CONTENTS = [b"%PDF-1.7 first", b"a;b\n1;2\n", b"\x00\x01 raw"]


@pytest.fixture(autouse=True)
def records(tmp_path: Path, settings: Any) -> Path:
    folder = tmp_path / "data" / "records"
    own = {
        "BACKEND": "lab.common.files.storage.RecordsStorage",
        "OPTIONS": {"location": folder},
    }
    settings.STORAGES = {**settings.STORAGES, "records": own}
    settings.DATA_DIR = tmp_path / "data"
    return folder


@pytest.fixture(autouse=True)
def migrated(transactional_db: None) -> Iterator[None]:
    """Make a database that was built from the models look like a migrated one."""
    recorder = MigrationRecorder(connection)
    built = not recorder.has_table()
    recorder.ensure_schema()
    yield
    if built:
        with connection.cursor() as cursor:
            cursor.execute("DROP TABLE django_migrations")


@pytest.fixture
def stored() -> list[StoredFile]:
    files = [store_file(blob, name="a.bin", kind="other") for blob in CONTENTS]
    for file in files:
        audit.record("file.stored", file, actor=PROGRAM)
    return files


@pytest.fixture(params=["backup", "backup.zip"])
def made(
    request: pytest.FixtureRequest, stored: list[StoredFile], tmp_path: Path
) -> tuple[Path, Made]:
    target = tmp_path / "elsewhere" / request.param
    return target, make_backup(target)


@pytest.fixture
def empty_here(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let a restore begin in the tests' own database, and stop it before it writes."""

    def write(*_args: Any) -> None:
        pytest.fail("A refused backup was written.")

    monkeypatch.setattr(restoring, "require_empty", lambda: None)
    monkeypatch.setattr(restoring, "_require_no_records", lambda: None)
    monkeypatch.setattr(restoring, "_write", write)


def parts_of(place: Path) -> dict[str, bytes]:
    with places.existing_place(place) as opened:
        return {name: opened.read(name, 10**8) for name in opened.names()}


def rewrite(place: Path, change: Callable[[dict[str, bytes]], Any]) -> None:
    """Change what lies in a backup, as somebody with access to its disk could."""
    parts = parts_of(place)
    change(parts)
    if place.is_dir():
        shutil.rmtree(place)
        for name, blob in parts.items():
            (place / name).parent.mkdir(parents=True, exist_ok=True)
            (place / name).write_bytes(blob)
    else:
        with zipfile.ZipFile(place, "w") as archive:
            for name, blob in parts.items():
                archive.writestr(name, blob)


def test_every_part_is_in_the_manifest_by_its_hash(
    made: tuple[Path, Made], stored: list[StoredFile]
) -> None:
    place, result = made
    parts = parts_of(place)
    manifest = read_manifest(parts[MANIFEST])
    assert manifest == result.manifest
    assert sha256_hex(parts.pop(MANIFEST)) == result.digest
    told = {part.name: (part.sha256, part.size) for part in manifest.parts}
    assert told == {n: (sha256_hex(blob), len(blob)) for n, blob in parts.items()}
    kept = {parts[f"records/{file.path}"] for file in stored}
    assert kept == set(CONTENTS)
    assert manifest.missing == ()
    assert (manifest.audit_sealed, manifest.audit_head) == (3, audit.head())
    assert set(manifest.migrations) == set(
        MigrationRecorder(connection).applied_migrations()
    )
    assert manifest.vendor == connection.vendor


def test_only_the_owner_may_read_it_and_nothing_is_left_beside(
    made: tuple[Path, Made],
) -> None:
    place, _ = made
    assert place.stat().st_mode & 0o077 == 0
    assert list(place.parent.iterdir()) == [place]


def test_what_lies_at_the_target_is_not_touched(tmp_path: Path) -> None:
    for name, make in (("a", Path.mkdir), ("a.zip", Path.touch)):
        make(tmp_path / name)
    (tmp_path / "a" / "mine").touch()
    for name in ("a", "a.zip"):
        with pytest.raises(BackupRefused, match="exists already"):
            make_backup(tmp_path / name)
    (tmp_path / "empty").mkdir()
    assert make_backup(tmp_path / "empty").manifest.records == ()


def test_a_target_among_the_stored_files_is_refused(records: Path) -> None:
    with pytest.raises(BackupRefused, match="among the files"):
        make_backup(records / "backup.zip")


def test_an_empty_database_is_most_likely_the_wrong_one(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(connection.introspection, "table_names", list)
    with pytest.raises(CommandError, match="holds no installation yet"):
        call_command("backup", tmp_path / "b.zip")
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("name", ["backup", "backup.zip"])
def test_a_backup_that_breaks_off_leaves_nothing(
    stored: list[StoredFile],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    name: str,
) -> None:
    def run_out(*_args: Any) -> None:
        raise OSError("No space left on device")

    monkeypatch.setattr(making, "_copy_record", run_out)
    with pytest.raises(OSError, match="No space"):
        make_backup(tmp_path / "elsewhere" / name)
    assert list((tmp_path / "elsewhere").iterdir()) == []


def test_a_file_lost_before_the_backup_is_named_and_the_rest_is_kept(
    stored: list[StoredFile], records: Path, tmp_path: Path
) -> None:
    gone, damaged, whole = stored
    (records / gone.path).unlink()
    (records / damaged.path).chmod(0o640)
    (records / damaged.path).write_bytes(b"something else")
    told = StringIO()
    with pytest.raises(CommandError, match="2 stored files were missing") as refusal:
        call_command("backup", tmp_path / "b", stdout=told)
    assert gone.sha256 in str(refusal.value)
    assert damaged.sha256 in str(refusal.value)
    manifest = read_manifest((tmp_path / "b" / MANIFEST).read_bytes())
    assert set(manifest.missing) == {gone.sha256, damaged.sha256}
    assert [part.sha256 for part in manifest.records] == [whole.sha256]
    assert "1 files" in told.getvalue()


def test_the_command_says_what_it_kept(
    stored: list[StoredFile], tmp_path: Path
) -> None:
    told = StringIO()
    call_command("backup", tmp_path / "b.zip", stdout=told)
    assert f"the {connection.vendor} database and 3 files" in told.getvalue()
    assert audit.head() in told.getvalue()
    with pytest.raises(CommandError, match="exists already"):
        call_command("backup", tmp_path / "b.zip", stdout=told)


# --- Damaged, changed and foreign backups ---------------------------------------------


def record_in(parts: dict[str, bytes]) -> str:
    return min(name for name in parts if name.startswith("records/"))


def database_in(parts: dict[str, bytes]) -> str:
    return min(name for name in parts if name.startswith("database."))


def flip(parts: dict[str, bytes], name: str) -> None:
    blob = bytearray(parts[name])
    blob[len(blob) // 2] ^= 1
    parts[name] = bytes(blob)


DAMAGES: dict[str, tuple[Callable[[dict[str, bytes]], Any], str]] = {
    "a bit of the database": (lambda p: flip(p, database_in(p)), "its hash differs"),
    "a bit of a file": (lambda p: flip(p, record_in(p)), "its hash differs"),
    "a longer file": (
        lambda p: p.update({record_in(p): p[record_in(p)] + b"!"}),
        "its hash differs",
    ),
    "a lost file": (lambda p: p.pop(record_in(p)), "is missing from the backup"),
    "a lost database": (lambda p: p.pop(database_in(p)), "is missing"),
    "a file slipped in": (
        lambda p: p.update({"records/aa/aa/x": b"x"}),
        "which its manifest doesn't name",
    ),
}


@pytest.mark.parametrize("damage", DAMAGES.values(), ids=DAMAGES.keys())
def test_a_damaged_backup_is_refused_before_anything_is_written(
    made: tuple[Path, Made],
    empty_here: None,
    damage: tuple[Callable[[dict[str, bytes]], Any], str],
) -> None:
    place, _ = made
    rewrite(place, damage[0])
    with pytest.raises(BackupRefused, match=damage[1]):
        restore_backup(place)


def test_a_zip_that_was_cut_is_refused(
    stored: list[StoredFile], tmp_path: Path, empty_here: None
) -> None:
    whole = tmp_path / "b.zip"
    make_backup(whole)
    whole.write_bytes(whole.read_bytes()[:-40])
    with pytest.raises(BackupRefused, match="neither a folder nor a zip file"):
        restore_backup(whole)


@pytest.mark.parametrize("name", ["none", "none.zip", "folder", "other.zip"])
def test_what_is_no_backup_is_refused(
    tmp_path: Path, empty_here: None, name: str
) -> None:
    (tmp_path / "folder").mkdir()
    with zipfile.ZipFile(tmp_path / "other.zip", "w") as archive:
        archive.writestr("a", "b")
    with pytest.raises(BackupRefused, match=r"nothing at|holds no manifest"):
        restore_backup(tmp_path / name)


def test_another_digest_than_the_printed_one_is_refused(
    made: tuple[Path, Made], empty_here: None
) -> None:
    place, _ = made
    with pytest.raises(BackupRefused, match="not the one that was expected"):
        restore_backup(place, expected_digest="0" * 64)


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({"migrations": (("common", "0999_of_tomorrow"),)}, "from a newer version"),
        (
            {"vendor": "postgresql" if connection.vendor == "sqlite" else "sqlite"},
            "this installation has",
        ),
    ],
    ids=["newer", "other database"],
)
def test_a_backup_that_does_not_fit_is_refused(
    stored: list[StoredFile],
    tmp_path: Path,
    empty_here: None,
    changed: dict[str, Any],
    words: str,
) -> None:
    manifest = make_backup(tmp_path / "b").manifest
    name = manifest.database.name
    if "vendor" in changed:
        name = {"sqlite": "database.sqlite3", "postgresql": "database.pgdump"}[
            changed["vendor"]
        ]
        (tmp_path / "b" / manifest.database.name).rename(tmp_path / "b" / name)
    other = replace(manifest, **changed, database=replace(manifest.database, name=name))
    (tmp_path / "b" / MANIFEST).write_bytes(other.as_bytes())
    with pytest.raises(BackupRefused, match=words):
        restore_backup(tmp_path / "b")


def test_an_installation_with_files_is_not_restored_into(
    stored: list[StoredFile], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    make_backup(tmp_path / "b")
    monkeypatch.setattr(restoring, "require_empty", lambda: None)
    assert storages["records"].listdir("")[0]
    with pytest.raises(BackupRefused, match="stored files here already"):
        restore_backup(tmp_path / "b")


def test_a_database_with_anything_in_it_is_not_restored_into(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    if connection.vendor == "sqlite":
        path = tmp_path / "unbroken.sqlite3"
        monkeypatch.setattr(databases, "sqlite_path", lambda: path)
        databases.require_empty()
        assert not path.exists()
        # A log left over would be read into the restored database.
        Path(f"{path}-wal").write_bytes(b"left over")
    with pytest.raises(BackupRefused, match="empty installation only"):
        databases.require_empty()


def test_postgresqls_programs_are_asked_for_in_words(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setenv("PATH", str(tmp_path))
    with pytest.raises(BackupRefused, match="pg_dump is not on the PATH"):
        databases._pg_dump(tmp_path / "d", "view")


# --- Manifests that lie ---------------------------------------------------------------


def manifest_with(**changed: Any) -> bytes:
    sha256 = "ab" * 32
    honest = Manifest(
        made_at="2026-03-17T12:00:00Z",
        vendor="sqlite",
        database=Part("database.sqlite3", "cd" * 32, 4096),
        records=(Part(f"records/ab/ab/{sha256}", sha256, 3),),
        missing=(),
        audit_head="0" * 64,
        audit_sealed=0,
        migrations=(("common", "0001_initial"),),
    )
    return json.dumps(json.loads(honest.as_bytes()) | changed).encode()


def record_called(name: str) -> dict[str, Any]:
    return {"records": [{"name": name, "sha256": "ab" * 32, "size": 3}]}


@pytest.mark.parametrize(
    ("blob", "words"),
    [
        (b"", "can't be read"),
        (b"[]", "can't be read"),
        (b"\xff", "can't be read"),
        (manifest_with(schema=2), "schema 2"),
        (manifest_with(records=[{"name": "x"}]), "missing or of the wrong kind"),
        (manifest_with(surprise=1), "missing or of the wrong kind"),
        (manifest_with(**record_called("../../etc/cron.d/x")), "not the name of"),
        (manifest_with(**record_called("/etc/passwd")), "not the name of"),
        (manifest_with(**record_called(f"records/cd/cd/{'cd' * 32}")), "not the name"),
        (
            manifest_with(**record_called(f"records/ab/ab/{'ab' * 32}\n")),
            "not the name",
        ),
        (manifest_with(vendor="postgresql"), "no database of postgresql"),
        (
            manifest_with(
                database={"name": "../x", "sha256": "ab" * 32, "size": 1},
            ),
            "no database of sqlite",
        ),
        (
            manifest_with(
                database={"name": "database.sqlite3", "sha256": "x", "size": 1},
            ),
            "can't be",
        ),
        (
            manifest_with(
                records=record_called(f"records/ab/ab/{'ab' * 32}")["records"] * 2
            ),
            "names a file twice",
        ),
    ],
)
def test_a_manifest_that_lies_is_refused(blob: bytes, words: str) -> None:
    with pytest.raises(BackupRefused, match=words):
        read_manifest(blob)


def test_an_honest_manifest_is_read() -> None:
    assert read_manifest(manifest_with()).records[0].size == 3
