"""The demo keeps to itself: its own folder, its own database, this machine only."""

from __future__ import annotations

import os
import re
from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from io import StringIO
from pathlib import Path
from typing import Any

import pytest
from django.core.management import CommandError, call_command
from django.core.management.base import OutputWrapper
from django.db import connection

from lab.common import clock
from lab.common.models import DemoMarker
from lab.common.running import demo

PROBE = Path(__file__).with_name("probe")
NO_OUTPUT = OutputWrapper(StringIO())


def nothing(_stdout: OutputWrapper) -> None:
    """Fill a demo with nothing."""


def test_none_of_a_labs_own_settings_reach_the_demo() -> None:
    around = {
        "PATH": "/bin",
        "DATABASE_URL": "postgres://localhost/demo",
        "REDIS_URL": "redis://queue.lab.example",
        "UNBROKEN_DATA": "/srv/lab",
        "UNBROKEN_SMTP_HOST": "mail.lab.example",
        "UNBROKEN_S3_BUCKET": "lab-records",
        "UNBROKEN_SECRET_KEY": "gull",
    }
    assert demo.surroundings(around, folder=Path("/srv/demo"), port=8001) == {
        "PATH": "/bin",
        "DATABASE_URL": "postgres://localhost/demo",
        "UNBROKEN_DATA": "/srv/demo",
        "UNBROKEN_DEMO": "1",
        "UNBROKEN_SITE_URL": "http://localhost:8001",
        "UNBROKEN_CLOCK_SHIFT_S": "0",
    }


@pytest.mark.parametrize("host", ["0.0.0.0", "192.0.2.7", "lab.example", "::"])
def test_it_listens_to_this_machine_only(host: str) -> None:
    with pytest.raises(CommandError, match="not a loopback address"):
        call_command("demo", host=host)


@pytest.mark.parametrize("host", ["127.0.0.1", "127.3.2.1", "::1", "localhost"])
def test_it_goes_on_in_its_own_surroundings(
    host: str, monkeypatch: pytest.MonkeyPatch, settings: Any
) -> None:
    class Gone(Exception):
        pass

    started: list[tuple[list[str], Any]] = []

    def become(command: list[str], environment: Any) -> None:
        started.append((command, environment))
        raise Gone

    monkeypatch.setattr(demo, "become", become)
    with pytest.raises(Gone):
        call_command("demo", host=host, port=8001)
    ((command, environment),) = started
    assert command[-5:] == ["--host", host, "--port", "8001", "--surrounded"]
    assert environment["UNBROKEN_DATA"] == str(settings.DATA_DIR / "demo")


@pytest.mark.django_db
def test_an_empty_database_may_become_a_demos() -> None:
    demo.require_demo_database()
    assert not demo.is_filled()
    demo.fill(nothing, NO_OUTPUT)
    assert demo.is_filled()
    demo.require_demo_database()


@pytest.mark.django_db
def test_a_labs_database_is_refused(people: Any, settings: Any) -> None:
    with pytest.raises(demo.NotADemo, match="holds a lab's records"):
        demo.require_demo_database()
    settings.DEMO = True
    with pytest.raises(CommandError, match="holds a lab's records"):
        call_command("demo", surrounded=True)


@pytest.mark.django_db
def test_a_lab_is_not_served_with_a_clock_that_can_be_set(settings: Any) -> None:
    settings.DEMO = True
    with pytest.raises(CommandError, match="this database is no demo's"):
        call_command("serve")


@pytest.mark.django_db
def test_a_demos_database_with_people_is_taken(people: Any) -> None:
    demo.fill(nothing, NO_OUTPUT)
    demo.require_demo_database()


@pytest.mark.django_db
def test_a_database_of_something_else_is_refused(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(
        connection.introspection, "table_names", lambda: ["weather_reports"]
    )
    with pytest.raises(demo.NotADemo, match="tables that are not ours"):
        demo.require_demo_database()


@pytest.mark.django_db
def test_a_demo_is_filled_whole_or_not_at_all() -> None:
    def half(_stdout: OutputWrapper) -> None:
        raise RuntimeError("The power went.")

    with pytest.raises(RuntimeError):
        demo.fill(half, NO_OUTPUT)
    assert not demo.is_filled()


@pytest.mark.django_db
@pytest.mark.parametrize(("days_later", "shifted_days"), [(0, 0), (1, 1), (400, 400)])
def test_a_demo_stays_at_the_day_it_was_filled(
    noon: datetime, days_later: int, shifted_days: int
) -> None:
    assert demo.wanted_clock_shift_s() == 0
    with clock.set_to(noon):
        demo.fill(nothing, NO_OUTPUT)
    assert demo.anchor() == date(2026, 3, 17)
    with clock.set_to(noon + timedelta(days=days_later)):
        assert demo.wanted_clock_shift_s() == -shifted_days * 24 * 3600


@pytest.mark.django_db
def test_a_shifted_clock_is_shifted_no_further(noon: datetime, settings: Any) -> None:
    with clock.set_to(noon):
        demo.fill(nothing, NO_OUTPUT)
    settings.CLOCK_SHIFT_S = -3 * 24 * 3600
    with clock.set_to(noon):  # which is three days ago by now
        assert demo.wanted_clock_shift_s() == settings.CLOCK_SHIFT_S


@pytest.mark.django_db
def test_there_is_one_marker_and_it_stays() -> None:
    demo.fill(nothing, NO_OUTPUT)
    with pytest.raises(TypeError, match="insert-only"):
        DemoMarker.objects.all().delete()


@pytest.mark.skipif(os.name != "posix", reason="it stops the demo by a signal.")
def test_a_demo_starts_again_on_the_day_it_was_filled(
    sqlite_installation: Any, eventually: Callable[..., Any], tmp_path: Path
) -> None:
    around = tmp_path / "around"
    around.mkdir()
    sqlite_installation.folder = sqlite_installation.folder.rename(around / "demo")
    sqlite_installation.extra["UNBROKEN_DEMO"] = "1"
    filling = sqlite_installation.start(str(PROBE / "fill_demo.py"), "10")
    output, _ = filling.communicate()
    assert filling.returncode == 0, output

    sqlite_installation.extra = {"UNBROKEN_DATA": str(around)}
    process = sqlite_installation.start("manage.py", "demo", "--port", "0")
    output = ""
    while "Administrator" not in output:
        line = process.stdout.readline()
        assert line, f"It did not start:\n{output}"
        output += line
    assert re.search(r"The demo is at http://localhost:\d+/", output)
    passwords = re.findall(r"example +((?:[a-z2-9]{4}-){3}[a-z2-9]{4}) ", output)
    assert len(set(passwords)) == 7

    beats = "SELECT substr(at, 1, 10) FROM common_workerheartbeat"
    beaten = eventually(lambda: sqlite_installation.rows(beats))
    ten_days_ago = datetime.now(UTC).date() - timedelta(days=10)
    assert beaten == [(ten_days_ago.isoformat(),)], "The worker's clock is set back."
    process.terminate()
    rest, _ = process.communicate(timeout=40)
    assert process.returncode == 0, rest
