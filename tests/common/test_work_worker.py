"""Real workers on a real database: nothing is lost, and nothing is done twice."""

from __future__ import annotations

import os
import random
import signal
import time
from collections import Counter
from collections.abc import Callable
from pathlib import Path
from typing import Any

Eventually = Callable[..., Any]


def test_two_producers_and_each_row_is_done_once(
    installation: Any, eventually: Eventually
) -> None:
    installation.start_worker()
    producers = [
        installation.produce("work_probe.note", first, 500) for first in (1, 501)
    ]
    for producer in producers:
        output, _ = producer.communicate()
        assert producer.returncode == 0, output
    done = "kind = 'work_probe.note' AND state = 'done' AND attempts = 1"
    eventually(lambda: installation.count(done) == 1000)
    expected = Counter(f"ran {object_id}" for object_id in range(1, 1001))
    assert Counter(installation.lines()) == expected


def test_a_worker_killed_twenty_times_loses_nothing(
    installation: Any, eventually: Eventually
) -> None:
    producer = installation.produce("work_probe.nap", 1, 150)
    assert producer.wait() == 0
    nursery = installation.start(str(Path(__file__).parent / "probe" / "nursery.py"))
    said = _lines_of(nursery)
    assert next(said) == "ready"
    moments = random.Random(20260317)
    interrupted = 0
    for _ in range(20):
        pid = _start_in(nursery, said)
        time.sleep(moments.uniform(0.1, 0.6))
        _kill(pid)
        assert next(said) == "gone"
        interrupted += installation.count("state = 'running'")
    assert interrupted >= 5, "The kills must have hit work that was under way."
    last = _start_in(nursery, said)
    open_rows = "state IN ('wanted', 'running') AND kind = 'work_probe.nap'"
    eventually(lambda: installation.count(open_rows) == 0)
    _kill(last)
    done = "kind = 'work_probe.nap' AND state = 'done' AND attempts BETWEEN 1 AND 5"
    assert installation.count(done) == 150
    assert {f"ran {object_id}" for object_id in range(1, 151)} <= set(
        installation.lines()
    )


def test_a_second_worker_on_the_folder_leaves_with_a_sentence(
    installation: Any, eventually: Eventually
) -> None:
    first = installation.start_worker()
    _wait_for_heartbeat(installation, eventually)
    second = installation.start("manage.py", "worker")
    output, _ = second.communicate(timeout=30)
    assert second.returncode == 75
    assert f"Another worker already serves the folder {installation.folder}" in output
    assert "Traceback" not in output
    assert first.poll() is None


def test_a_worker_finishes_what_runs_when_it_is_asked_to_stop(
    installation: Any, eventually: Eventually
) -> None:
    installation.produce("work_probe.nap", 1, 20).wait()
    worker = installation.start_worker()
    eventually(lambda: len(installation.lines()) > 3)
    worker.send_signal(signal.SIGTERM)
    assert worker.wait(timeout=30) == 0
    assert installation.count("state = 'running'") == 0


def test_a_worker_leaves_when_its_standard_input_ends(
    installation: Any, eventually: Eventually
) -> None:
    worker = installation.start("manage.py", "worker", "--leave-with-parent")
    _wait_for_heartbeat(installation, eventually)
    worker.stdin.close()
    assert worker.wait(timeout=30) == 0
    worker.stdout.close()


def test_entries_are_sealed_without_anybody_asking(
    installation: Any, eventually: Eventually
) -> None:
    installation.start_worker()
    made = installation.start(
        "manage.py",
        "shell",
        "-v0",
        "-c",
        "from lab.accounts.services import create_person as c; "
        "from lab.common.actors import PROGRAM; "
        "c(email='gil@ravelin.example', name='Gil', role='client_contact',"
        " password=None, acting_user=PROGRAM)",
    )
    output, _ = made.communicate()
    assert made.returncode == 0, output
    seals = "SELECT count(*) FROM common_auditseal"
    eventually(lambda: installation.rows(seals)[0][0] == 1)


def _start_in(nursery: Any, said: Any) -> int:
    nursery.stdin.write("another\n")
    nursery.stdin.flush()
    return int(next(said))


def _lines_of(process: Any) -> Any:
    """Read what a process says, past the log lines of its workers."""
    for line in process.stdout:
        if line.strip() in {"ready", "gone"} or line.strip().isdigit():
            yield line.strip()


def _kill(pid: int) -> None:
    os.kill(pid, signal.SIGKILL)


def _wait_for_heartbeat(installation: Any, eventually: Eventually) -> None:
    beats = "SELECT count(*) FROM common_workerheartbeat"
    eventually(lambda: installation.rows(beats)[0][0] == 1)
