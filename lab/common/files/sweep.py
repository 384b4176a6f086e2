"""Files that no row names, and what broken-off writes left behind, go after a week."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from typing import Final

from lab.common.files.models import StoredFile
from lab.common.files.storage import RecordsStorage
from lab.common.files.store import records

#: A file comes before its row, and a row may wait for a slow transaction; not so long.
ORPHAN_AGE: Final = timedelta(days=7)
BATCH: Final = 500


@dataclass(frozen=True, slots=True)
class Swept:
    """How many files went."""

    orphans: int
    unfinished: int


def sweep_orphans() -> Swept:
    """Discard files older than seven days that no row names; safe to run at any time.

    A storage other than our own folder can't take a file from its name and look
    again before it is gone, so nothing is swept there: an orphan costs some space, a
    lost record costs the lab.
    """
    storage = records()
    if not isinstance(storage, RecordsStorage):
        return Swept(0, 0)
    orphans, batch = 0, list[str]()
    for name in storage.names():
        if storage.is_older(name, ORPHAN_AGE):
            batch.append(name)
        if len(batch) == BATCH:
            orphans += _discard_orphans(storage, batch)
            batch = []
    orphans += _discard_orphans(storage, batch)
    return Swept(orphans, storage.discard_incoming(ORPHAN_AGE))


def _discard_orphans(storage: RecordsStorage, names: list[str]) -> int:
    hashes = {name.rpartition("/")[2]: name for name in names}
    rows = StoredFile.objects.filter(sha256__in=hashes)
    named = set(rows.values_list("sha256", flat=True))
    orphans = [name for sha256, name in hashes.items() if sha256 not in named]
    return sum(storage.discard(name, ORPHAN_AGE) for name in orphans)
