"""A supervised child is started again when it dies, and never left behind."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from lab.common.running import supervisor
from lab.common.running.supervisor import Supervised

Eventually = Callable[..., Any]
#: Notes that it began, then leaves at the end of its input like a worker.
POLITE = "import sys; open(sys.argv[1], 'a').write('began\\n'); sys.stdin.read()"
STUBBORN = POLITE + "; import time; time.sleep(60)"
FRAIL = POLITE.replace("sys.stdin.read()", "sys.exit(3)")


def supervised(script: str, note: Path) -> Supervised:
    return Supervised([sys.executable, "-c", script, str(note)])


def test_a_child_leaves_when_it_is_stopped(
    tmp_path: Path, eventually: Eventually
) -> None:
    child = supervised(POLITE, tmp_path / "note")
    child.start()
    eventually((tmp_path / "note").exists)
    child.stop()
    assert child._child is not None
    assert child._child.returncode == 0


def test_a_child_that_dies_is_started_again(
    tmp_path: Path, eventually: Eventually, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(supervisor, "FIRST_WAIT_S", 0.01)
    note = tmp_path / "note"
    child = supervised(FRAIL, note)
    child.start()
    eventually(lambda: note.exists() and note.read_text().count("began") >= 3)
    child.stop()


def test_a_child_that_will_not_leave_is_ended(
    tmp_path: Path, eventually: Eventually, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(supervisor, "GRACE_S", 0.2)
    child = supervised(STUBBORN, tmp_path / "note")
    child.start()
    eventually((tmp_path / "note").exists)
    child.stop()
    assert child._child is not None
    assert child._child.returncode != 0


def test_a_child_that_is_only_just_starting_is_not_forgotten(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    made: list[Any] = []
    start = supervisor.subprocess.Popen

    def slowly(*words: Any, **options: Any) -> Any:
        made.append(start(*words, **options))
        time.sleep(0.3)  # started, and not yet known to whoever stops it
        return made[-1]

    monkeypatch.setattr(supervisor.subprocess, "Popen", slowly)
    child = supervised(POLITE, tmp_path / "note")
    child.start()
    while not made:
        time.sleep(0.01)
    child.stop()
    assert made[0].poll() is not None


def test_nothing_is_started_once_it_is_stopped(tmp_path: Path) -> None:
    child = supervised(POLITE, tmp_path / "note")
    child._stopping.set()
    child.start()
    child.stop()
    assert child._child is None
