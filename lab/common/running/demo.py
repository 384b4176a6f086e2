"""The demo's surroundings: its own folder and settings, and its own database."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Callable, Mapping
from datetime import date, timedelta
from pathlib import Path

from django.conf import settings
from django.contrib.auth import get_user_model
from django.core.management.base import OutputWrapper
from django.db import connection, transaction

from lab.common import clock
from lab.common.models import AuditEntry, DemoMarker

DAY_S = 24 * 3600


class NotADemo(RuntimeError):
    """The database belongs to a lab, or to something else altogether."""


def surroundings(
    environment: Mapping[str, str], *, folder: Path, port: int, clock_shift_s: int = 0
) -> dict[str, str]:
    """Return the environment of a demo, made from the one around it.

    None of the lab's own settings reach it: a demo that could send mail, share a
    queue or write to the lab's storage would be no demo. Its database may be named
    by ``DATABASE_URL``.
    """
    kept = {
        name: value
        for name, value in environment.items()
        if not name.startswith("UNBROKEN_") and name != "REDIS_URL"
    }
    return kept | {
        "UNBROKEN_DEMO": "1",
        "UNBROKEN_DATA": str(folder),
        "UNBROKEN_SITE_URL": f"http://localhost:{port}",
        "UNBROKEN_CLOCK_SHIFT_S": str(clock_shift_s),
    }


def become(command: list[str], environment: Mapping[str, str]) -> None:
    """Go on as another command in this very process, where the system can do that.

    Settings are read once, at start; so the demo's come with a fresh start.
    """
    sys.stdout.flush()
    if os.name == "posix":
        os.execve(command[0], command, dict(environment))  # noqa: S606 - our own command
    # Windows has no exec that the terminal would wait for.
    code = subprocess.call(command, env=dict(environment))  # noqa: S603
    sys.exit(code)


def require_demo_database() -> None:
    """Refuse a database that holds anything but a demo.

    Raises
    ------
    NotADemo
        If it has tables of something else, or people or records of a lab.
    """
    tables = set(connection.introspection.table_names())
    if not tables or is_filled():
        return
    ours = {get_user_model()._meta.db_table, AuditEntry._meta.db_table}
    if not tables & ours:
        raise NotADemo(_refusal("tables that are not ours"))
    if get_user_model()._base_manager.exists() or AuditEntry.objects.exists():
        raise NotADemo(_refusal("a lab's records"))


def is_filled() -> bool:
    """Tell whether the database is a demo's, filled at its first start."""
    tables = connection.introspection.table_names()
    return DemoMarker._meta.db_table in tables and DemoMarker.objects.exists()


def anchor() -> date:
    """Return the day that the demo's history is counted back from."""
    return DemoMarker.objects.get().anchor


def wanted_clock_shift_s() -> int:
    """Return by how much the demo's clock must differ for today to be its anchor.

    So a demo that is started again next year still has a job under way and a
    calibration that is about to run out. Whole days, so that morning stays morning.
    """
    if not is_filled():
        return 0
    real_today = (clock.now() - timedelta(seconds=settings.CLOCK_SHIFT_S)).date()
    return (anchor() - real_today).days * DAY_S


def fill(load: Callable[[OutputWrapper], None], stdout: OutputWrapper) -> None:
    """Mark an empty database as a demo's and fill it: both, or neither."""
    with transaction.atomic():
        DemoMarker.objects.create(anchor=clock.today("UTC"))
        load(stdout)


def _refusal(found: str) -> str:
    place = settings.DATABASES["default"]["NAME"]
    return (
        f"The database {place} holds {found}, and the demo would mix with them. "
        "Unset DATABASE_URL, or name an empty database."
    )
