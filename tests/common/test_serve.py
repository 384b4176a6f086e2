"""``serve``: pages and a worker that start, stop and die together."""

from __future__ import annotations

import http.client
import json
import os
import re
import signal
import socket
import sqlite3
import sys
from collections.abc import Callable
from contextlib import closing, suppress
from pathlib import Path
from typing import Any

import pytest

Eventually = Callable[..., Any]
IsAlive = Callable[[int], bool]
pytestmark = pytest.mark.skipif(
    sys.platform != "linux", reason="the tests read /proc to find the processes."
)


class Server:
    """A running ``manage.py serve`` and what a test asks of it."""

    def __init__(self, installation: Any, eventually: Eventually) -> None:
        self.eventually = eventually
        self.process = installation.start(
            "manage.py", "serve", "--port", "0", "--threads", "2"
        )
        self.output = ""
        for line in self.process.stdout:
            self.output += line
            if found := re.search(r"at http://localhost:(\d+)/", line):
                self.port = int(found.group(1))
                return
        raise AssertionError(f"It did not start:\n{self.output}")

    def ask(
        self, method: str = "GET", headers: dict[str, str] | None = None
    ) -> tuple[int, bytes]:
        with closing(http.client.HTTPConnection("127.0.0.1", self.port)) as connection:
            connection.request(method, "/healthz", headers=headers or {})
            answer = connection.getresponse()
            return answer.status, answer.read()

    def worker(self) -> int:
        """Return the worker's process id, once there is one."""
        return int(self.eventually(self._worker))

    def _worker(self) -> int | None:
        for status in Path("/proc").glob("[0-9]*/stat"):
            with suppress(OSError):
                after_name = status.read_text().rpartition(")")[2].split()
                if after_name[0] != "Z" and int(after_name[1]) == self.process.pid:
                    return int(status.parent.name)
        return None

    def is_well(self) -> bool:
        return self.ask()[0] == 200


@pytest.fixture
def server(installation: Any, eventually: Eventually) -> Server:
    return Server(installation, eventually)


@pytest.fixture
def sqlite_server(sqlite_installation: Any, eventually: Eventually) -> Server:
    return Server(sqlite_installation, eventually)


def test_it_serves_works_restarts_its_worker_and_stops(
    server: Server, eventually: Eventually, is_alive: IsAlive, installation: Any
) -> None:
    eventually(server.is_well)
    health = json.loads(server.ask()[1])
    assert health["fences"] == "standing"
    assert health["worker"] == "alive"

    first = server.worker()
    os.kill(first, signal.SIGKILL)
    eventually(lambda: server._worker() not in {first, None})
    second = server.worker()
    beats = f"SELECT count(*) FROM common_workerheartbeat WHERE name LIKE '%:{second}'"
    eventually(lambda: installation.rows(beats)[0][0] == 1)

    server.process.send_signal(signal.SIGTERM)
    output, _ = server.process.communicate(timeout=40)
    assert server.process.returncode == 0
    assert "Stopped." in output
    assert "Traceback" not in output
    assert not is_alive(second)


def test_it_leaves_no_orphan_when_it_is_killed(
    server: Server, eventually: Eventually, is_alive: IsAlive
) -> None:
    worker = server.worker()
    eventually(server.is_well)
    server.process.kill()
    eventually(lambda: not is_alive(worker))


def test_ctrl_c_stops_both(sqlite_server: Server, is_alive: IsAlive) -> None:
    worker = sqlite_server.worker()
    sqlite_server.process.send_signal(signal.SIGINT)
    output, _ = sqlite_server.process.communicate(timeout=40)
    assert (sqlite_server.process.returncode, "Traceback" in output) == (0, False), (
        output
    )
    assert not is_alive(worker)


def test_a_body_larger_than_any_upload_is_refused_by_its_length(
    sqlite_server: Server,
) -> None:
    gigabyte = str(1024**3)
    status, _ = sqlite_server.ask("POST", {"Content-Length": gigabyte})
    assert status == 413


def test_its_key_is_its_owners_alone(
    sqlite_server: Server, sqlite_installation: Any
) -> None:
    key = sqlite_installation.folder / "secret-key"
    assert key.stat().st_mode & 0o777 == 0o600
    assert len(key.read_text()) >= 50


def test_it_refuses_to_start_while_a_fence_is_missing(sqlite_installation: Any) -> None:
    with closing(
        sqlite3.connect(sqlite_installation.folder / "unbroken.sqlite3")
    ) as database:
        database.execute("DROP TRIGGER fence_common_auditentry_delete")
        database.commit()
    process = sqlite_installation.start("manage.py", "serve", "--port", "0")
    output, _ = process.communicate(timeout=40)
    assert process.returncode == 1
    assert "fence_common_auditentry_delete" in output
    assert "Traceback" not in output


def test_a_taken_address_is_said_so(sqlite_installation: Any) -> None:
    with socket.socket() as other:
        other.bind(("127.0.0.1", 0))
        other.listen()
        port = str(other.getsockname()[1])
        process = sqlite_installation.start("manage.py", "serve", "--port", port)
        output, _ = process.communicate(timeout=40)
    assert process.returncode == 1
    assert f"127.0.0.1:{port} can't be listened on" in output
    assert "Traceback" not in output
