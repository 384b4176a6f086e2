"""Imports and foreign keys go down the layers; the core stands alone."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest
from django.apps import apps
from django.conf import settings
from django.db import models

LAYERS = [
    "common",
    "accounts",
    "laboratory",
    "customers",
    "parts",
    "equipment",
    "environment",
    "checks",
    "fixturing",
    "targets",
    "jobs",
    "inspections",
    "lapses",
    "certificates",
    "evidence",
    "portal",
    "board",
]


def test_imports_go_down_the_layers(project: Path) -> None:
    command = [Path(sys.executable).with_name("lint-imports"), "--no-cache"]
    run = subprocess.run(
        command, cwd=project, capture_output=True, text=True, check=False
    )
    assert run.returncode == 0, run.stdout + run.stderr


def test_apps_are_installed_from_the_ground_up() -> None:
    labels = [name.rpartition(".")[2] for name in settings.LAB_APPS]
    assert labels == sorted(labels, key=LAYERS.index)


def foreign_keys() -> list[models.ForeignKey]:
    return [
        field
        for model in apps.get_models()
        if model._meta.app_label in LAYERS
        for field in model._meta.get_fields()
        if isinstance(field, models.ForeignKey)
    ]


def test_foreign_keys_go_down_the_layers() -> None:
    upward = [
        f"{field} -> {field.related_model._meta.label}"
        for field in foreign_keys()
        if field.related_model._meta.label != settings.AUTH_USER_MODEL
        and field.related_model._meta.app_label in LAYERS
        and LAYERS.index(field.related_model._meta.app_label)
        > LAYERS.index(field.model._meta.app_label)
    ]
    assert upward == []


@pytest.mark.parametrize("framework", ["django", "celery", "redis", "kombu"])
def test_the_core_loads_no_framework(project: Path, framework: str) -> None:
    script = (
        "import pkgutil, importlib, sys, lab.metrology as core\n"
        "for m in pkgutil.walk_packages(core.__path__, 'lab.metrology.'):\n"
        "    if not m.name.endswith('__main__'): importlib.import_module(m.name)\n"
        f"print({framework!r} in sys.modules)"
    )
    run = subprocess.run(
        [sys.executable, "-c", script],
        cwd=project,
        capture_output=True,
        text=True,
        check=True,
    )
    assert run.stdout.strip() == "False"
