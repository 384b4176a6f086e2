"""What ``serve`` makes ready before the first page."""

from __future__ import annotations

import os
from io import StringIO
from pathlib import Path
from typing import Any

import pytest
from django.core.management.base import OutputWrapper

from lab.common.running import prepare


def test_static_files_are_collected_once_and_again_when_one_changed(
    tmp_path: Path, settings: Any
) -> None:
    source = tmp_path / "source"
    source.mkdir()
    (source / "page.css").write_text("body { color: black }")
    (source / "SourceSansPro-Black.ttf").write_text("a font that no page uses")
    settings.DATA_DIR = tmp_path
    settings.STATIC_ROOT = tmp_path / "static"
    settings.STATICFILES_DIRS = [source]
    settings.STATICFILES_FINDERS = [
        "django.contrib.staticfiles.finders.FileSystemFinder"
    ]
    collected = tmp_path / "static" / "page.css"

    assert "Collecting" in run()
    assert collected.exists()
    assert not (tmp_path / "static" / "SourceSansPro-Black.ttf").exists()
    collected.unlink()
    assert run() == ""
    assert not collected.exists(), "Nothing had changed, so nothing was collected."
    os.utime(source / "page.css", (1, 1))
    assert "Collecting" in run()
    assert collected.exists()


@pytest.mark.parametrize("font", ["Regular", "Semibold", "It"])
def test_the_fonts_of_the_pages_are_collected(font: str, settings: Any) -> None:
    styles = Path(settings.BASE_DIR, "static", "css", "unbroken.css").read_text()
    assert f"SourceSansPro-{font}.ttf" in styles
    names = [
        name
        for finder in prepare.get_finders()
        for name, _ in finder.list(list(prepare.UNUSED_FONTS))
    ]
    assert f"SourceSansPro-{font}.ttf" in names


def run() -> str:
    output = StringIO()
    prepare.collect_static_files(OutputWrapper(output))
    return output.getvalue()
