"""What must be true before the first page is served."""

from __future__ import annotations

import os
from typing import Final

from django.conf import settings
from django.contrib.staticfiles.finders import get_finders
from django.core.management import call_command
from django.core.management.base import OutputWrapper
from django.db import DEFAULT_DB_ALIAS, connections

from lab.common import fences, secret_key
from lab.common.jsontext import sha256_hex

#: The font's package brings every weight twice; the pages use three files of it.
UNUSED_FONTS: Final = (
    "*.otf",
    "SourceSansPro-Black*",
    "SourceSansPro-Bold*",
    "SourceSansPro-ExtraLight*",
    "SourceSansPro-Light*",
    "SourceSansPro-SemiboldIt*",
)


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
    collect_static_files(stdout)


def collect_static_files(stdout: OutputWrapper) -> None:
    """Collect and compress the static files, unless they are those of last time.

    Compressing takes many seconds, and most starts find nothing new.
    """
    stamp_file = settings.DATA_DIR / "static-stamp"
    stamp = _stamp_of_static_files()
    if stamp_file.exists() and stamp_file.read_text() == stamp:
        return
    stdout.write("Collecting the static files …")
    call_command(
        "collectstatic",
        interactive=False,
        clear=True,
        verbosity=0,
        ignore_patterns=list(UNUSED_FONTS),
    )
    stamp_file.write_text(stamp)


def _stamp_of_static_files() -> str:
    """Return a digest of which files there are, how large and how old."""
    found = [str(settings.STORAGES["staticfiles"]), str(settings.STATIC_ROOT)]
    for finder in get_finders():
        for name, storage in finder.list(list(UNUSED_FONTS)):
            path = storage.path(name)
            found.append(f"{path} {os.path.getsize(path)} {os.path.getmtime(path)}")
    return sha256_hex("\n".join(sorted(found)))


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
