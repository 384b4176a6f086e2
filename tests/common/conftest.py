"""An installation of its own for the tests that start and kill real processes."""

from __future__ import annotations

import os
import shutil
import signal
import sqlite3
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager, suppress
from pathlib import Path
from typing import Any, TypeVar
from urllib.parse import urlsplit, urlunsplit
from uuid import uuid4

import pytest

from lab.common.work.kinds import Kind, all_kinds
from tests.conftest import PROJECT, skip_unless

PROBE = Path(__file__).with_name("probe")
#: Scripts for child processes; importing them here would set up Django twice.
collect_ignore = ["probe"]
Answer = TypeVar("Answer")


def _eventually(question: Callable[[], Answer], *, within_s: float = 60.0) -> Answer:
    """Ask until the answer is true, and return it."""
    deadline = time.monotonic() + within_s
    while not (answer := question()):
        if time.monotonic() > deadline:
            raise AssertionError(f"It did not happen within {within_s:g} seconds.")
        time.sleep(0.05)
    return answer


def _is_alive(pid: int) -> bool:
    """Tell whether a process runs; one that only waits to be buried doesn't."""
    try:
        status = Path(f"/proc/{pid}/stat").read_text()
    except OSError:
        return False
    return status.rpartition(")")[2].split()[0] != "Z"


@pytest.fixture
def eventually() -> Callable[..., Any]:
    return _eventually


@pytest.fixture
def is_alive() -> Callable[[int], bool]:
    return _is_alive


@pytest.fixture
def declare(monkeypatch: pytest.MonkeyPatch) -> Callable[..., None]:
    """Return a function that declares a kind of work for the length of a test."""

    def add(name: str, run: Callable[..., object], **bounds: Any) -> None:
        kind = Kind(run, **{"limit_s": 30, "tries": 3, **bounds})
        monkeypatch.setitem(all_kinds(), name, kind)

    return add


class Installation:
    """A data folder with its database, and the processes started on it."""

    def __init__(self, folder: Path, database_url: str = "") -> None:
        self.folder = folder
        self.database_url = database_url
        self.log = folder / "probe.log"
        self.extra: dict[str, str] = {}
        self._started: list[subprocess.Popen[str]] = []

    def environment(self) -> dict[str, str]:
        kept = {
            name: value
            for name, value in os.environ.items()
            if not name.startswith(("UNBROKEN_", "DATABASE_URL", "REDIS_URL"))
        }
        return {
            **kept,
            "UNBROKEN_DATA": str(self.folder),
            "DATABASE_URL": self.database_url,
            "DJANGO_SETTINGS_MODULE": "probe_settings",
            "PYTHONPATH": os.pathsep.join([str(PROBE), str(PROJECT)]),
            "PROBE_LOG": str(self.log),
            **self.extra,
        }

    def start(self, *words: str, **options: Any) -> subprocess.Popen[str]:
        """Start a Python script of the project or of the probes, output to a pipe."""
        process = subprocess.Popen(
            [sys.executable, *words],
            env=self.environment(),
            cwd=PROJECT,
            text=True,
            stdin=subprocess.PIPE,
            stdout=options.pop("stdout", subprocess.PIPE),
            stderr=options.pop("stderr", subprocess.STDOUT),
            **options,
        )
        self._started.append(process)
        return process

    def start_worker(self) -> subprocess.Popen[str]:
        return self.start("manage.py", "worker", stdout=subprocess.DEVNULL)

    def produce(self, kind: str, first: int, count: int) -> subprocess.Popen[str]:
        return self.start(str(PROBE / "produce.py"), kind, str(first), str(count))

    def rows(self, query: str) -> list[tuple[Any, ...]]:
        """Ask the database behind everybody's back."""
        if self.database_url:
            psycopg = pytest.importorskip("psycopg")
            with closing(psycopg.connect(self.database_url)) as connection:
                return list(connection.execute(query).fetchall())
        path = self.folder / "unbroken.sqlite3"
        with closing(sqlite3.connect(path, timeout=30)) as connection:
            return connection.execute(query).fetchall()

    def count(self, condition: str) -> int:
        (row,) = self.rows(f"SELECT count(*) FROM common_workitem WHERE {condition}")
        return int(row[0])

    def lines(self) -> list[str]:
        return self.log.read_text().splitlines() if self.log.exists() else []

    def stop_all(self) -> None:
        for process in self._started:
            if process.poll() is None:
                process.send_signal(signal.SIGKILL)
            with suppress(ValueError, BrokenPipeError):
                process.communicate()


@pytest.fixture(scope="session")
def template_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a data folder with an empty SQLite database, to be copied."""
    installation = Installation(tmp_path_factory.mktemp("template"))
    _make_tables(installation)
    return installation.folder


@pytest.fixture
def sqlite_installation(
    tmp_path: Path, template_folder: Path
) -> Iterator[Installation]:
    """Return an empty installation on SQLite, as a small lab has it."""
    made = Installation(tmp_path / "lab")
    shutil.copytree(template_folder, made.folder)
    try:
        yield made
    finally:
        made.stop_all()


@pytest.fixture
def postgres_installation(tmp_path: Path) -> Iterator[Installation]:
    """Return an empty installation on a PostgreSQL database of its own."""
    with _postgres_database() as url:
        made = Installation(tmp_path / "lab", url)
        made.folder.mkdir()
        _make_tables(made)
        try:
            yield made
        finally:
            made.stop_all()


@pytest.fixture(params=["sqlite", pytest.param("postgres", marks=pytest.mark.postgres)])
def installation(request: pytest.FixtureRequest) -> Installation:
    """Return an empty installation, on each database in turn."""
    made: Installation = request.getfixturevalue(f"{request.param}_installation")
    return made


def _make_tables(installation: Installation) -> None:
    words = ["manage.py", "migrate", "--run-syncdb", "--skip-checks", "-v0"]
    process = installation.start(*words)
    output, _ = process.communicate()
    assert process.returncode == 0, output


@contextmanager
def _postgres_database() -> Iterator[str]:
    """Make a database beside the one that ``DATABASE_URL`` names, and drop it again."""
    server = os.environ.get("DATABASE_URL", "")
    skip_unless(server, "postgres", "DATABASE_URL names no PostgreSQL server.")
    psycopg = pytest.importorskip("psycopg")
    name = f"probe_{uuid4().hex[:12]}"
    with closing(psycopg.connect(server, autocommit=True)) as connection:
        connection.execute(f"CREATE DATABASE {name}")
        try:
            yield urlunsplit(urlsplit(server)._replace(path=f"/{name}"))
        finally:
            connection.execute(f"DROP DATABASE {name} WITH (FORCE)")
