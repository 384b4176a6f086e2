"""The database without waiting for the disk: these tests kill processes, not power."""

from __future__ import annotations

from typing import Any


def without_waiting(databases: dict[str, Any]) -> dict[str, Any]:
    default = databases["default"]
    if "sqlite3" not in default["ENGINE"]:
        return databases
    command = default["OPTIONS"]["init_command"].replace("=FULL", "=OFF")
    options = {**default["OPTIONS"], "init_command": command}
    return {"default": {**default, "OPTIONS": options}}
