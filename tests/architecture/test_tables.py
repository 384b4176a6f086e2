"""The tables that a reader sees whole are complete: pages, actions, constraints."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

from django.apps import apps
from django.urls import URLPattern, URLResolver, get_resolver

from lab.accounts.permissions import ACTIONS, ANYONE, PAGES


def page_names(resolver: URLResolver, space: str = "") -> Iterator[str]:
    for entry in resolver.url_patterns:
        if isinstance(entry, URLResolver):
            yield from page_names(
                entry, f"{space}{entry.namespace}:" if entry.namespace else space
            )
        elif isinstance(entry, URLPattern):
            yield f"{space}{entry.name}"


def test_every_page_is_in_the_permission_table() -> None:
    names = list(page_names(get_resolver()))
    assert "None" not in {name.rpartition(":")[2] for name in names}
    assert sorted(set(names) - set(PAGES)) == []


def test_the_permission_table_names_no_page_that_is_gone() -> None:
    assert sorted(set(PAGES) - set(page_names(get_resolver()))) == []


def test_every_page_asks_for_an_action_of_the_table() -> None:
    assert {a for a in PAGES.values() if a != ANYONE} <= set(ACTIONS)


def test_constraints_and_indexes_are_named_once() -> None:
    names: list[str] = []
    for model in apps.get_models():
        if not model.__module__.startswith("lab."):
            continue
        assert not model._meta.unique_together, f"{model}: name a UniqueConstraint"
        names += [c.name for c in model._meta.constraints]
        names += [index.name for index in model._meta.indexes]
    assert all(names)
    assert len(names) == len(set(names))
    assert max(map(len, names)) <= 60


def test_models_and_migrations_agree(project: Path, tmp_path: Path) -> None:
    command = [sys.executable, "manage.py", "makemigrations", "--check", "--dry-run"]
    run = subprocess.run(
        command,
        cwd=project,
        env={**os.environ, "UNBROKEN_DATA": str(tmp_path), "DATABASE_URL": ""},
        capture_output=True,
        text=True,
        check=False,
    )
    assert run.returncode == 0, run.stdout + run.stderr


def test_no_template_writes_styles_into_the_page(project: Path) -> None:
    styled = [
        path.relative_to(project).as_posix()
        for path in (project / "templates").rglob("*.html")
        if " style=" in path.read_text() or "<style" in path.read_text()
    ]
    assert styled == []


def test_no_template_runs_script_in_the_page(project: Path) -> None:
    scripted = [
        path.relative_to(project).as_posix()
        for path in (project / "templates").rglob("*.html")
        if "<script>" in path.read_text() or " onclick=" in path.read_text()
    ]
    assert scripted == []
