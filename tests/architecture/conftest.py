"""What the architecture tests read: the project's own sources, parsed once."""

from __future__ import annotations

import ast
from dataclasses import dataclass
from pathlib import Path

import pytest

PROJECT = Path(__file__).resolve().parents[2]


@dataclass(frozen=True)
class Source:
    """One Python file of the program."""

    path: Path
    text: str
    tree: ast.Module

    @property
    def name(self) -> str:
        return self.path.relative_to(PROJECT).as_posix()


@pytest.fixture(scope="session")
def project() -> Path:
    return PROJECT


@pytest.fixture(scope="session")
def sources() -> list[Source]:
    """Return every Python file under lab/, migrations left out."""
    paths = [p for p in (PROJECT / "lab").rglob("*.py") if "migrations" not in p.parts]
    texts = [(path, path.read_text()) for path in sorted(paths)]
    return [Source(path, text, ast.parse(text)) for path, text in texts]
