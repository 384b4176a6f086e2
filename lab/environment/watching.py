"""A folder in which files of one source appear: each finished one is imported once.

A file counts as finished when it has not changed between two looks. Nothing is moved,
renamed or deleted; a report beside a file says what was left out or why it failed.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

from lab.common.actors import PROGRAM
from lab.common.errors import DomainError
from lab.common.files.store import CHUNK, store_file
from lab.environment.importing import guess_of
from lab.environment.logs.layout import Layout
from lab.environment.models import ReadingImport, ReadingSource
from lab.environment.services import begin_import, cancel_import, confirm_import
from lab.metrology.errors import BadShape

#: What a report beside a file is called: its name and this.
ENDING: Final = ".report.txt"
State = ReadingImport.State
Look = tuple[int, int]


@dataclass(slots=True)
class Watch:
    """What is known of a folder's files between looks."""

    folder: Path
    source: ReadingSource
    tell: Callable[[str], object]
    seen: dict[Path, Look] = field(default_factory=dict)
    dealt_with: dict[Path, Look] = field(default_factory=dict)
    under_way: dict[Path, int] = field(default_factory=dict)

    def look(self) -> None:
        """Begin with files that are finished, and report on those that were read."""
        for path in sorted(self.folder.iterdir()):
            is_passed_over = path.name.startswith(".") or path.name.endswith(ENDING)
            if path.is_file() and not is_passed_over:
                self._look_at(path)
        for path, pk in list(self.under_way.items()):
            self._follow(path, ReadingImport.objects.get(pk=pk))

    def _look_at(self, path: Path) -> None:
        found = path.stat()
        now = (found.st_size, found.st_mtime_ns)
        if self.dealt_with.get(path) == now:
            return
        if self.seen.get(path) != now:
            self.seen[path] = now  # perhaps it is still being written
            return
        self.dealt_with[path] = now
        try:
            self._take(path)
        except (DomainError, BadShape, OSError) as error:
            self._fail(path, str(error))

    def _take(self, path: Path) -> None:
        """Import a file as its source is remembered, unless it is in already."""
        if self._is_in(path):
            self.tell(f"{path.name} was imported before; nothing is to be done.")
            return
        with path.open("rb") as stream:
            stored = store_file(stream, name=path.name, kind="readings")
        taken = begin_import(
            file=stored,
            name=stored.original_name,
            source_name=self.source.name,
            acting_user=PROGRAM,
        )
        try:
            layout = self._layout_for(taken)
        except BadShape:
            cancel_import(reading_import=taken, acting_user=PROGRAM)
            raise
        confirm_import(reading_import=taken, layout=layout, acting_user=PROGRAM)
        self.under_way[path] = taken.pk
        self.tell(f"{path.name} is being read.")

    def _layout_for(self, taken: ReadingImport) -> Layout:
        layout, found = self.source.layout, guess_of(taken).layout
        if layout is None or not layout.fits(found):
            raise BadShape(
                f"It does not look like the files of {self.source.name} so far. Import "
                "it once in the browser, where its columns are confirmed."
            )
        return layout.with_place_of(found)

    def _is_in(self, path: Path) -> bool:
        digest = hashlib.sha256()
        with path.open("rb") as stream:
            while chunk := stream.read(CHUNK):
                digest.update(chunk)
        before = ReadingImport.objects.filter(file__sha256=digest.hexdigest())
        return before.exclude(state__in=[State.FAILED, State.CANCELLED]).exists()

    def _follow(self, path: Path, taken: ReadingImport) -> None:
        if taken.is_under_way:
            return
        del self.under_way[path]
        if taken.state != State.DONE:
            self._fail(path, taken.error or "The import was cancelled.")
            return
        said = (
            f"{path.name}: {taken.added} new readings, {taken.known} known already, "
            f"{taken.left_out} left out."
        )
        self.tell(said)
        if taken.left_out and taken.report:
            lines = [f"{count} × {words}" for words, count, _ in taken.report.lines]
            self._report(path, "\n".join([said, *lines]))

    def _fail(self, path: Path, error: str) -> None:
        self.tell(f"{path.name} was not imported: {error}")
        self._report(path, f"{path.name} was not imported.\n{error}")

    def _report(self, path: Path, text: str) -> None:
        beside = path.with_name(path.name + ENDING)
        beside.write_text(text + "\n", encoding="utf-8")
        self.tell(f"See {beside.name}.")
