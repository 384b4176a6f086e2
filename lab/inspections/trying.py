"""What values would mean if they were recorded now; nothing is stored."""

from __future__ import annotations

from decimal import Decimal
from functools import cached_property

from lab.inspections.deciding import Decided, decided
from lab.inspections.entries import ResultEntry
from lab.inspections.selectors import smallest_claims
from lab.jobs.models import Agreement, Job
from lab.jobs.selectors import agreement_in_force


class Judge:
    """Decides entries of one job, reading its agreement once for all of them."""

    def __init__(self, job: Job) -> None:
        self.job = job
        self._claims: dict[int, Decimal | None] = {}

    @cached_property
    def agreement(self) -> Agreement | None:
        return agreement_in_force(self.job)

    def decided(self, entry: ResultEntry) -> Decided | None:
        """Decide an entry; None where nothing is agreed.

        Raises
        ------
        NotAcceptable
            As recording it would.
        """
        if self.agreement is None:
            return None
        entry.columns()
        return decided(
            entry,
            agreement=self.agreement,
            unit=self.job.unit,
            cmc=None if entry.provider.strip() else self._claim(entry, self.agreement),
        )

    def _claim(self, entry: ResultEntry, agreement: Agreement) -> Decimal | None:
        one = entry.characteristic
        if one.pk not in self._claims:
            self._claims |= smallest_claims(agreement, [one])
        return self._claims[one.pk]
