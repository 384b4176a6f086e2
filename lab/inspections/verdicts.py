"""Several typed results decided together under one agreement."""

from __future__ import annotations

from collections.abc import Sequence

from lab.inspections.deciding import Decided, decided
from lab.inspections.entries import ResultEntry
from lab.inspections.selectors import smallest_claims
from lab.jobs.models import Agreement, Job


def decide_entries(
    agreement: Agreement, job: Job, entries: Sequence[ResultEntry]
) -> list[Decided]:
    """Decide entries under an agreement; others' results are held to no CMC of ours."""
    own = {entry.characteristic for entry in entries if not entry.provider.strip()}
    claims = smallest_claims(agreement, own)
    return [
        decided(
            entry,
            agreement=agreement,
            unit=job.unit,
            cmc=None if entry.provider.strip() else claims[entry.characteristic.pk],
        )
        for entry in entries
    ]
