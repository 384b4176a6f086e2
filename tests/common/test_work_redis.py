"""With Redis as the queue: several workers, and a queue that may be lost at will."""

from __future__ import annotations

import os
import shutil
import socket
import subprocess
from collections import Counter
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
import redis

from tests.conftest import skip_unless

Eventually = Callable[..., Any]
pytestmark = pytest.mark.redis


@pytest.fixture
def redis_url(tmp_path: Path, eventually: Eventually) -> Iterator[str]:
    """Return a Redis server of this test's own, or a database of the one given."""
    given = os.environ.get("REDIS_URL")
    if given:
        yield given
        return
    program = shutil.which("redis-server")
    skip_unless(program, "redis", "redis-server is not installed.")
    with socket.socket() as asked:
        asked.bind(("127.0.0.1", 0))
        port = asked.getsockname()[1]
    words = ["--port", str(port), "--bind", "127.0.0.1", "--save", "", "--dir"]
    with subprocess.Popen(
        [str(program), *words, str(tmp_path)], stdout=subprocess.DEVNULL
    ) as server:
        url = f"redis://127.0.0.1:{port}/0"
        eventually(lambda: _answers(url))
        yield url
        server.terminate()


@pytest.fixture
def lab(sqlite_installation: Any, redis_url: str) -> Any:
    sqlite_installation.extra["REDIS_URL"] = redis_url
    return sqlite_installation


def test_a_queue_flushed_in_the_middle_loses_nothing(
    lab: Any, redis_url: str, eventually: Eventually
) -> None:
    assert lab.produce("work_probe.nap", 1, 100).wait() == 0
    with redis.Redis.from_url(redis_url) as queue:
        assert queue.llen("celery") == 100, "Each row was announced at its commit."
        for _ in range(2):
            lab.start_worker()
        eventually(lambda: lab.count("state = 'done'") >= 20)
        queue.flushall()
    assert lab.count("state = 'done'") < 100, "The flush must have come in the middle."
    assert lab.produce("work_probe.nap", 101, 20).wait() == 0
    done = "kind = 'work_probe.nap' AND state = 'done' AND attempts = 1"
    eventually(lambda: lab.count(done) == 120)
    ran = Counter(line for line in lab.lines() if line.startswith("ran"))
    assert ran == Counter(f"ran {object_id}" for object_id in range(1, 121))


def test_work_is_wanted_while_the_queue_is_away(
    lab: Any, redis_url: str, eventually: Eventually
) -> None:
    lab.extra["REDIS_URL"] = "redis://127.0.0.1:1/0"  # nobody listens there
    producer = lab.produce("work_probe.note", 1, 3)
    output, _ = producer.communicate()
    assert producer.returncode == 0, output
    assert output.count("was not announced; the sweep will find it") == 3
    lab.extra["REDIS_URL"] = redis_url
    lab.start_worker()
    eventually(lambda: lab.count("kind = 'work_probe.note' AND state = 'done'") == 3)


def _answers(url: str) -> bool:
    with redis.Redis.from_url(url) as client:
        try:
            return bool(client.ping())
        except redis.ConnectionError:
            return False
