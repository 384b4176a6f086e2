"""A database as it was at one moment, copied while others write; and put back."""

from __future__ import annotations

import os
import shutil
import sqlite3
import subprocess
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from django.db import connection, transaction

from lab.common import audit
from lab.common.backup.manifest import BackupRefused
from lab.common.files.models import StoredFile
from lab.common.models import AuditSeal

#: Files that SQLite keeps beside its own; one left over would be read into a new one.
SQLITE_COMPANIONS: Final = ("-wal", "-shm", "-journal")


@dataclass(frozen=True, slots=True)
class Snapshot:
    """A copy of the database in a file, and what that very copy says."""

    path: Path
    stored: tuple[str, ...]
    audit_head: str
    audit_sealed: int
    migrations: tuple[tuple[str, str], ...]


@contextmanager
def snapshot(folder: Path) -> Iterator[Snapshot]:
    """Copy the database into a folder, as of one moment, without stopping writers."""
    path = folder / "database"
    if connection.vendor == "postgresql":
        with _shared_view() as view:
            _pg_dump(path, view)
            with connection.cursor() as cursor:
                found = _read(path, cursor)
    else:
        _copy_sqlite(path)
        with closing(sqlite3.connect(path)) as copy, closing(copy.cursor()) as cursor:
            found = _read(path, cursor)
    yield found


def put_back(path: Path) -> None:
    """Make a copied database the installation's own, which must be empty."""
    if connection.vendor == "postgresql":
        _pg_restore(path)
        return
    target = sqlite_path()
    target.parent.mkdir(parents=True, exist_ok=True)
    beside = target.with_name(f".{target.name}.restored")
    shutil.copyfile(path, beside)
    with beside.open("rb+") as stream:
        os.fsync(stream.fileno())
    connection.close()
    beside.replace(target)


def require_empty() -> None:
    """Refuse a database that holds anything.

    Raises
    ------
    BackupRefused
        Naming the database. SQLite is looked at without being opened, which would
        make the file.
    """
    if connection.vendor == "postgresql":
        tables = connection.introspection.table_names()
        if tables:
            name = connection.settings_dict["NAME"]
            raise _not_empty(f"The database {name} has {len(tables)} tables")
        return
    target = sqlite_path()
    for path in (target, *(Path(f"{target}{end}") for end in SQLITE_COMPANIONS)):
        if path.exists() and path.stat().st_size:
            raise _not_empty(f"There is a database at {path}")


def sqlite_path() -> Path:
    return Path(connection.settings_dict["NAME"])


def _not_empty(found: str) -> BackupRefused:
    return BackupRefused(
        f"{found}, and a backup is restored into an empty installation only. Name "
        "another place by UNBROKEN_DATA or DATABASE_URL, or move this one away."
    )


def _read(path: Path, cursor: Any) -> Snapshot:
    """Ask the copy itself, or what sees the same moment as the copy."""
    cursor.execute(f"SELECT sha256 FROM {_table(StoredFile)} ORDER BY sha256")  # noqa: S608 - no outside text
    stored = tuple(sha256 for (sha256,) in cursor.fetchall())
    newest = f"SELECT position, digest FROM {_table(AuditSeal)} ORDER BY position DESC"  # noqa: S608 - no outside text
    cursor.execute(f"{newest} LIMIT 1")
    sealed, head = cursor.fetchone() or (0, audit.FIRST_DIGEST)
    cursor.execute("SELECT app, name FROM django_migrations ORDER BY app, name")
    migrations = tuple((str(app), str(name)) for app, name in cursor.fetchall())
    return Snapshot(path, stored, head, sealed, migrations)


def _table(model: type[StoredFile | AuditSeal]) -> str:
    return connection.ops.quote_name(model._meta.db_table)


# --- SQLite ---------------------------------------------------------------------------


def _copy_sqlite(path: Path) -> None:
    """Copy by SQLite's own backup, in one step: one moment, and no writer waits."""
    connection.ensure_connection()
    with closing(sqlite3.connect(path)) as copy:
        connection.connection.backup(copy)
        # The copy is one file: nothing of it may lie in a log beside it.
        copy.execute("PRAGMA journal_mode=DELETE")
        (verdict,) = copy.execute("PRAGMA integrity_check(1)").fetchone()
    if verdict != "ok":
        raise BackupRefused(
            f"The database is damaged ({verdict}). Keep every older backup, and call "
            "whoever looks after the server."
        )


# --- PostgreSQL -----------------------------------------------------------------------


@contextmanager
def _shared_view() -> Iterator[str]:
    """Hold one moment's view of the database, and give the name that shares it."""
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ, READ ONLY")
        cursor.execute("SELECT pg_export_snapshot()")
        yield cursor.fetchone()[0]


def _pg_dump(path: Path, view: str) -> None:
    _run(
        "pg_dump",
        "--format=custom",
        "--no-owner",
        "--no-privileges",
        f"--snapshot={view}",
        f"--file={path}",
    )


def _pg_restore(path: Path) -> None:
    connection.close()
    _run(
        "pg_restore",
        "--no-owner",
        "--no-privileges",
        "--no-comments",
        "--exit-on-error",
        "--single-transaction",
        str(path),
    )


def _run(program: str, *options: str) -> None:
    """Run one of PostgreSQL's own programs on our database."""
    found = shutil.which(program)
    if found is None:
        raise BackupRefused(
            f"{program} is not on the PATH. Install PostgreSQL's client programs, of "
            "the server's version or newer."
        )
    (_, *where, name), extra = connection.client.settings_to_cmd_args_env(
        connection.settings_dict, []
    )
    # The password goes by the environment: arguments are for all on the server to see.
    run = subprocess.run(  # noqa: S603 - a program of PostgreSQL's, no shell
        [found, "--no-password", *where, f"--dbname={name}", *options],
        env=os.environ | (extra or {}),
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        check=False,
    )
    if run.returncode:
        said = run.stderr.strip().splitlines()[-3:]
        raise BackupRefused(f"{program} failed: {' '.join(said)}")
