"""A watched folder: finished files once, nothing moved, reports beside."""

from __future__ import annotations

from dataclasses import replace
from io import StringIO
from pathlib import Path
from typing import Any

import pytest
from django.core.management import CommandError, call_command

from lab.common import clock
from lab.common.work.running import work_off
from lab.environment.logs.guessing import guess
from lab.environment.models import ReadingImport, ReadingSource
from lab.environment.watching import Watch
from tests.environment.conftest import at

pytestmark = pytest.mark.django_db
TEXT = "time,LG-1 temperature °C\n2026-03-17 09:00:00,20.1\n2026-03-17 09:10:00,20.2\n"


@pytest.fixture(autouse=True)
def evening() -> Any:
    with clock.set_to(at(23)):
        yield


@pytest.fixture
def source(logger) -> ReadingSource:
    found = guess(TEXT.encode(), zone="UTC", sensors=["LG-1"]).layout
    return ReadingSource.objects.create(name="Card", layout_text=found.to_text())


@pytest.fixture
def watch(source, tmp_path: Path) -> tuple[Watch, list[str]]:
    said: list[str] = []
    return Watch(tmp_path, source, said.append), said


def test_a_finished_file_is_imported_once(watch, tmp_path) -> None:
    watching, said = watch
    file = tmp_path / "a.csv"
    file.write_text(TEXT[:60])
    watching.look()
    file.write_text(TEXT)  # it was still being written
    watching.look()
    assert not ReadingImport.objects.exists()
    watching.look()
    work_off()
    for _ in range(3):
        watching.look()
    one = ReadingImport.objects.get()
    assert (one.state, one.added) == ("done", 2)
    assert said == [
        "a.csv is being read.",
        "a.csv: 2 new readings, 0 known already, 0 left out.",
    ]
    assert [path.name for path in tmp_path.iterdir()] == ["a.csv"]
    again = Watch(tmp_path, watching.source, said.append)  # the command begun anew
    again.look()
    again.look()
    assert said[-1] == "a.csv was imported before; nothing is to be done."
    assert ReadingImport.objects.count() == 1


def test_what_is_left_out_or_fails_is_said_beside_the_file(watch, tmp_path) -> None:
    watching, _ = watch
    (tmp_path / "spoilt.csv").write_text(TEXT + "2026-03-17 09:20:00,\n")
    (tmp_path / "other.csv").write_text("when;t\n2026-03-17 09:00;20,1\n")
    (tmp_path / "letter.txt").write_text("Dear lab,\n")
    watching.look()
    watching.look()
    work_off()
    watching.look()
    beside = {p.name: p.read_text() for p in tmp_path.glob("*.report.txt")}
    assert set(beside) == {
        "spoilt.csv.report.txt",
        "other.csv.report.txt",
        "letter.txt.report.txt",
    }
    assert "1 × The cell is empty" in beside["spoilt.csv.report.txt"]
    assert "in the browser" in beside["other.csv.report.txt"]
    assert "No columns were found" in beside["letter.txt.report.txt"]
    assert len(list(tmp_path.iterdir())) == 6


def test_the_command_says_what_it_needs(source, tmp_path) -> None:
    with pytest.raises(CommandError, match="no folder"):
        call_command("watch-readings", str(tmp_path / "none"), source="Card")
    with pytest.raises(CommandError, match="in the browser first"):
        call_command("watch-readings", str(tmp_path), source="Nobody")
    (tmp_path / "a.csv").write_text(TEXT)
    out = StringIO()
    call_command(
        "watch-readings", str(tmp_path), source="Card", every=0, looks=2, stdout=out
    )
    assert "a.csv is being read." in out.getvalue()
    assert replace(source.layout, zone="UTC") == source.layout
