"""What must be true before the first page is served."""

from __future__ import annotations

import os

from django.conf import settings
from django.core.management import call_command
from django.core.management.base import OutputWrapper
from django.db import DEFAULT_DB_ALIAS, connections

from lab.common import fences, secret_key


class FencesDown(RuntimeError):
    """A frozen record could be changed: a trigger that refuses it is missing."""


def prepare(stdout: OutputWrapper) -> None:
    """Make key, database and static files ready; refuse where a fence is missing.

    The look at the fences comes before migrate, which would put up a missing one
    without a word.

    Raises
    ------
    FencesDown
        If a frozen table stands without one of its fences.
    """
    settings.DATA_DIR.mkdir(parents=True, exist_ok=True)
    if not os.environ.get("UNBROKEN_SECRET_KEY"):
        settings.SECRET_KEY = secret_key.ensure(settings.SECRET_KEY_FILE)
    require_fences()
    stdout.write("Bringing the database up to date …")
    call_command("migrate", interactive=False, verbosity=0)
    require_fences()
    stdout.write("Collecting the static files …")
    call_command("collectstatic", interactive=False, verbosity=0)


def require_fences() -> None:
    """Refuse where a frozen table stands unfenced.

    Raises
    ------
    FencesDown
        Naming each fence that is missing.
    """
    missing = sorted(fences.missing(connections[DEFAULT_DB_ALIAS]))
    if missing:
        raise FencesDown(
            f"These fences around frozen records are missing: {', '.join(missing)}. "
            "Run `manage.py migrate`, which puts them back, and find out who took them."
        )
