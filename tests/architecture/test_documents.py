"""The documents tell the truth: the paths they name exist, the lengths hold."""

from __future__ import annotations

import re
from pathlib import Path

import pytest


@pytest.mark.parametrize("name", ["README.md", "DEVELOPERS.md"])
def test_every_path_that_a_document_names_exists(project: Path, name: str) -> None:
    text = (project / name).read_text()
    paths = re.findall(r"`((?:lab|tests|templates|static|\.ci)/[\w./-]*)`", text)
    assert paths
    assert [path for path in paths if not (project / path).exists()] == []


def test_the_developers_page_stays_short(project: Path) -> None:
    assert (project / "DEVELOPERS.md").read_text().count("\n") < 250


def test_readme_opens_with_the_job_and_two_commands(project: Path) -> None:
    text = (project / "README.md").read_text()
    blocks = re.findall(r"```sh\n(.*?)```", text, re.DOTALL)
    assert "manage.py demo" in blocks[0]
    assert "pytest" in blocks[1]
    assert all(block.strip().count("\n") == 0 for block in blocks[:2])
