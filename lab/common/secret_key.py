"""The installation's secret key: a file that only its owner may read."""

from __future__ import annotations

import os
import secrets
from pathlib import Path


def read(path: Path) -> str:
    """Return the stored key, or one for this process alone where none is stored.

    A process that only migrates or checks signs nothing that must outlive it;
    whatever serves pages calls :func:`ensure` first.
    """
    try:
        return path.read_text().strip()
    except FileNotFoundError:
        return secrets.token_urlsafe(50)


def ensure(path: Path) -> str:
    """Return the stored key, made now (mode 0600) if there was none.

    Two processes that start together agree: the first to link its file wins.
    """
    if not path.exists():
        path.parent.mkdir(parents=True, exist_ok=True)
        temporary = path.with_name(f"{path.name}.{os.getpid()}")
        handle = os.open(temporary, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
        with os.fdopen(handle, "w") as file:
            file.write(secrets.token_urlsafe(50))
        try:
            os.link(temporary, path)
        except FileExistsError:
            pass  # another process was first: its key is the key
        finally:
            temporary.unlink()
    return read(path)
