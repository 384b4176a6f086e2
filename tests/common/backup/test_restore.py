"""Backed up while another process writes, restored elsewhere, equal by hash.

Real processes on a real database, as an operator would run them.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest
from django.db import connection

from lab.common.backup.manifest import MANIFEST, read_manifest

PROJECT = Path(__file__).resolve().parents[3]
#: Turns that the writer has made before a backup begins.
BEGUN = 20
START = "import django; django.setup()\n"
#: Makes the database from the models and records every migration as run, which is the
#: same and a fifth of the time.
PREPARE = START + (
    "from collections import defaultdict\n"
    "from django.conf import settings\n"
    "from django.core.management import call_command\n"
    "class Nowhere(defaultdict):\n"
    "    def __contains__(self, app): return True\n"
    "settings.MIGRATION_MODULES = Nowhere(lambda: None)\n"
    "call_command('migrate', run_syncdb=True, verbosity=0)\n"
    "settings.MIGRATION_MODULES = {}\n"
    "call_command('migrate', fake=True, verbosity=0)\n"
)
#: Writes entries and files, seals now and then and tells each turn, until it is told.
WRITER = START + (
    "import select, sys\n"
    "from django.db import transaction\n"
    "from lab.common import audit\n"
    "from lab.common.actors import PROGRAM\n"
    "from lab.common.files.store import store_file\n"
    "turn = 0\n"
    "while not select.select([sys.stdin], [], [], 0.002)[0]:\n"
    "    blob = b'reading %d\\n' % turn * 2000\n"
    "    with transaction.atomic():\n"
    "        stored = store_file(blob, name=f'{turn}.csv', kind='readings')\n"
    "        for _ in range(3):\n"
    "            audit.record('file.stored', stored, actor=PROGRAM)\n"
    "    turn += 1\n"
    "    if turn % 5 == 0: audit.seal_batch()\n"
    "    print(turn, flush=True)\n"
)
#: Tells every row of files and audit by id, through the program's own eyes.
ROWS = START + (
    "import json\n"
    "from lab.common.models import AuditEntry, AuditSeal, StoredFile\n"
    "from lab.common.files.store import read_file\n"
    "from lab.common.jsontext import canonical_text, sha256_hex\n"
    "print(json.dumps({\n"
    "  'entries': {e.pk: sha256_hex(canonical_text(e.sealed_content()))\n"
    "              for e in AuditEntry.objects.all()},\n"
    "  'seals': {s.position: s.digest for s in AuditSeal.objects.all()},\n"
    "  'files': {f.sha256: sha256_hex(read_file(f))\n"
    "            for f in StoredFile.objects.all()},\n"
    "}))\n"
)
#: Runs commands one after the other and tells what each said or refused.
COMMANDS = START + (
    "import io, json, sys\n"
    "from django.core.management import CommandError, call_command\n"
    "told = []\n"
    "for words in json.load(sys.stdin):\n"
    "    out = io.StringIO()\n"
    "    try: call_command(*words, stdout=out)\n"
    "    except CommandError as refusal: out.write(f'REFUSED: {refusal}')\n"
    "    told.append(out.getvalue())\n"
    "print(json.dumps(told))\n"
)
#: Breaks the fences open and changes one sealed entry, as with the database's password.
TAMPER = START + (
    "from django.db import connection\n"
    "from lab.common import fences\n"
    "fences.drop(connection)\n"
    "with connection.cursor() as c:\n"
    "    c.execute(\"UPDATE common_auditentry SET reason = 'x' WHERE id = 2\")\n"
)


class Installation:
    """One installation of the program in a folder of its own, run as processes."""

    def __init__(self, folder: Path, database_url: str) -> None:
        self.records = folder / "records"
        kept = {k: v for k, v in os.environ.items() if not k.startswith("UNBROKEN_")}
        kept.pop("DATABASE_URL", None)
        self.environment = kept | {
            "UNBROKEN_DATA": str(folder),
            "DJANGO_SETTINGS_MODULE": "lab.settings",
            **({"DATABASE_URL": database_url} if database_url else {}),
        }

    def run(self, *arguments: str, told: str = "") -> subprocess.CompletedProcess[str]:
        return subprocess.run(
            [sys.executable, *arguments],
            cwd=PROJECT,
            env=self.environment,
            input=told,
            capture_output=True,
            text=True,
            check=False,
        )

    def manage(self, *arguments: str) -> str:
        done = self.run("manage.py", *arguments)
        assert done.returncode == 0, done.stdout + done.stderr
        return done.stdout

    def refused(self, *arguments: str) -> str:
        done = self.run("manage.py", *arguments)
        assert done.returncode == 1, done.stdout + done.stderr
        assert "Traceback" not in done.stderr
        return done.stderr

    def script(self, text: str, told: str = "") -> str:
        done = self.run("-c", text, told=told)
        assert done.returncode == 0, done.stderr
        return done.stdout

    def commands(self, *commands: tuple[str, ...]) -> list[str]:
        """Run several commands in one process, which saves its start-up."""
        said: list[str] = json.loads(self.script(COMMANDS, json.dumps(commands)))
        return said

    def rows(self) -> dict[str, dict[str, str]]:
        told: dict[str, dict[str, str]] = json.loads(self.script(ROWS))
        return told

    @contextmanager
    def being_written(self) -> Iterator[None]:
        """Have a process write all the while; it is well under way at the start."""
        with subprocess.Popen(
            [sys.executable, "-c", WRITER],
            cwd=PROJECT,
            env=self.environment,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        ) as writer:
            assert writer.stdout is not None
            begun = [writer.stdout.readline() for _ in range(BEGUN)]
            if all(begun):
                yield
            _turns, complaints = writer.communicate("stop\n")
            assert writer.returncode == 0, complaints


@pytest.fixture(scope="module")
def database_urls(
    request: pytest.FixtureRequest, django_db_setup: None, django_db_blocker: Any
) -> Iterator[list[str]]:
    """Give three empty databases: on SQLite, those that the folders will hold."""
    if connection.vendor == "sqlite":
        yield ["", "", ""]
        return
    names = [f"{connection.settings_dict['NAME']}_b{n}" for n in range(3)]
    with django_db_blocker.unblock(), connection._nodb_cursor() as cursor:
        for name in names:
            cursor.execute(f'DROP DATABASE IF EXISTS "{name}"')
            cursor.execute(f'CREATE DATABASE "{name}"')
    base, _, _ = os.environ["DATABASE_URL"].rpartition("/")
    yield [f"{base}/{name}" for name in names]
    with django_db_blocker.unblock(), connection._nodb_cursor() as cursor:
        for name in names:
            cursor.execute(f'DROP DATABASE "{name}" WITH (FORCE)')


def test_backup_during_writes_restored_elsewhere_is_equal(
    tmp_path: Path, database_urls: list[str]
) -> None:
    here, there, later = (
        Installation(tmp_path / name, url)
        for name, url in zip(("here", "there", "later"), database_urls, strict=True)
    )
    (tmp_path / "here").mkdir()
    here.script(PREPARE)
    target = tmp_path / "backups" / "monday.zip"
    with here.being_written():
        told = here.manage("backup", str(target))
    digest = told.partition("Digest of the manifest: ")[2].split()[0]

    said = there.manage("restore", str(target), f"--digest={digest}")
    assert "are as they should be" in said
    source, copy = here.rows(), there.rows()
    # Whole turns only, and of one moment amid the writing.
    turns = len(copy["files"])
    assert BEGUN <= turns < len(source["files"])
    assert len(copy["entries"]) == 3 * turns
    assert set(copy["entries"].items()) <= set(source["entries"].items())
    assert set(copy["files"].items()) <= set(source["files"].items())
    assert all(sha256 == content for sha256, content in copy["files"].items())
    # The chain stands there: verified, up to the head that the backup printed.
    head = told.partition("head ")[2].split()[0]
    assert head in copy["seals"].values()
    (said,) = here.commands(("verify-audit", f"--head={head}"))
    assert "is in the chain" in said

    # What was restored can be backed up and restored again; not over what is there.
    again = tmp_path / "backups" / "tuesday"
    verified, _, refused = there.commands(
        ("verify-audit", f"--head={head}"),
        ("backup", str(again)),
        ("restore", str(again)),
    )
    assert "The chain is whole." in verified
    assert refused.startswith("REFUSED:")
    assert "empty installation only" in refused
    manifest = read_manifest((again / MANIFEST).read_bytes())
    assert {part.sha256 for part in manifest.records} == set(copy["files"])

    # A sealed entry that was changed before the backup is told of after the restore.
    there.script(TAMPER)
    tampered = tmp_path / "backups" / "tampered.zip"
    there.commands(("backup", str(tampered)))
    said = later.refused("restore", str(tampered))
    assert "The backup is restored, and this is wrong with it" in said
    assert "Entry 2 (file.stored" in said
    (said,) = later.commands(("verify-audit",))
    assert said.count("changed after it was sealed") == 1
    assert later.rows()["files"] == copy["files"]
