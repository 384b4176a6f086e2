"""Real workers, killed while they draw certificates: one document each, and whole."""

from __future__ import annotations

import hashlib
import os
import random
import signal
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.common.conftest import Installation, _eventually
from tests.conftest import PROJECT

PROBE = Path(__file__).with_name("probe")
NURSERY = PROJECT / "tests" / "common" / "probe" / "nursery.py"
COUNT = 30
RUNNING = "kind = 'certificates.render' AND state = 'running'"
DONE = "kind = 'certificates.render' AND state = 'done'"


@pytest.fixture
def whole(tmp_path: Path) -> Iterator[Installation]:
    """An installation of the whole program with certificates that wait to be drawn."""
    made = Installation(tmp_path / "lab")
    made.folder.mkdir()
    made.extra = {
        "DJANGO_SETTINGS_MODULE": "whole_settings",
        "PYTHONPATH": os.pathsep.join([str(PROBE), made.environment()["PYTHONPATH"]]),
    }
    try:
        for words in (
            ["manage.py", "migrate", "--run-syncdb", "--skip-checks", "-v0"],
            [str(PROBE / "issue_many.py"), str(COUNT)],
        ):
            process = made.start(*words)
            output, _ = process.communicate()
            assert process.returncode == 0, output
        yield made
    finally:
        made.stop_all()


def test_a_worker_killed_twenty_times_draws_each_certificate_once(
    whole: Installation,
) -> None:
    waiting = "kind = 'certificates.render' AND state = 'wanted'"
    assert whole.count(waiting) == COUNT
    nursery = whole.start(str(NURSERY))
    said = _lines_of(nursery)
    assert next(said) == "ready"
    moments = random.Random(20260317)
    interrupted = 0
    for _ in range(20):
        before = _attempts(whole)
        pid = _start_in(nursery, said)
        _eventually(lambda before=before: _attempts(whole) > before)
        time.sleep(moments.uniform(0, 0.2))
        os.kill(pid, signal.SIGKILL)
        assert next(said) == "gone"
        interrupted += whole.count(RUNNING)
    assert interrupted >= 5, "The kills must have hit drawing that was under way."
    last = _start_in(nursery, said)
    still = "state IN ('wanted', 'running') AND kind = 'certificates.render'"
    _eventually(lambda: whole.count(still) == 0, within_s=180)
    os.kill(last, signal.SIGKILL)
    assert whole.count(DONE) == COUNT
    _each_has_one_whole_document(whole)


def _attempts(whole: Installation) -> int:
    """Return how often drawing was begun; done rows are not begun again."""
    ((count,),) = whole.rows(
        "SELECT SUM(attempts) FROM common_workitem WHERE kind = 'certificates.render'"
    )
    return int(count)


def _each_has_one_whole_document(whole: Installation) -> None:
    rows = whole.rows(
        "SELECT c.number, f.sha256, f.size, d.unsigned_sha256 "
        "FROM certificates_certificate c "
        "JOIN certificates_document d ON d.certificate_id = c.id "
        "JOIN common_storedfile f ON f.id = d.file_id ORDER BY c.id"
    )
    assert [number for number, *_ in rows] == [
        f"C2026-{number:04d}" for number in range(1, COUNT + 1)
    ]
    for _, sha256, size, unsigned_sha256 in rows:
        path = whole.folder / "records" / sha256[:2] / sha256[2:4] / sha256
        content = path.read_bytes()
        assert (len(content), hashlib.sha256(content).hexdigest()) == (size, sha256)
        assert content.startswith(b"%PDF-")
        assert unsigned_sha256 == sha256
    assert len({sha256 for _, sha256, *_ in rows}) == COUNT


def _start_in(nursery: Any, said: Iterator[str]) -> int:
    nursery.stdin.write("another\n")
    nursery.stdin.flush()
    return int(next(said))


def _lines_of(process: Any) -> Iterator[str]:
    """Read what a process says, past the log lines of its workers."""
    for line in process.stdout:
        if line.strip() in {"ready", "gone"} or line.strip().isdigit():
            yield line.strip()
