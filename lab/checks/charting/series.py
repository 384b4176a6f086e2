"""The values of a control chart in the order of time, and where a new phase begins.

The value of a check is the mean error of its readings, or of one position's. Void
checks are no values. A phase begins with whatever sets the system anew (adjustment,
repair, firmware, field calibration) or with another artefact; after any other break
(knock, transport, move) the limits stay, but no run of values reaches across it.

Only as much is read as a period shows, and what comes before it that still bears on
it: the first values of its phase, which the limits stand on, and enough values before
the period for the moving average and the runs.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import pairwise
from statistics import fmean
from typing import Final

from django.db.models import QuerySet

from lab.checks.models import (
    ArtefactCheck,
    Break,
    CheckProcedure,
    CheckReading,
    MeasuringSystem,
)
from lab.metrology.charts import FULL_BASELINE
from lab.metrology.checks import Quantity

#: Values before a period that are read with it. Of a value so far back the moving
#: average keeps 0.8^120, which is nothing; the longest run of a rule is 15.
LEAD_IN: Final = 120
#: How many checks a chart shows at most, the newest; more can't be told apart.
IN_CHART: Final = 1000


@dataclass(frozen=True, slots=True)
class Value:
    """The mean error of a check's readings, and the smallest limit among them."""

    error_um: float
    accepted_um: float


@dataclass(frozen=True, slots=True)
class Phase:
    """Values from ``first`` up to ``stop`` that belong to one state of the system.

    ``baseline`` holds the errors in µm that its limits stand on, ``left_out`` those
    of its indices that don't count (failed checks), ``in_baseline`` how many of the
    phase's own values are among them.
    """

    first: int
    stop: int
    cause: str
    baseline: Sequence[float]
    left_out: Sequence[int]
    baseline_starts: Sequence[int]
    in_baseline: int


@dataclass(frozen=True, slots=True)
class Series:
    """The checks that a chart is made from, oldest first, with their values in µm.

    ``starts`` are the indices of first values after a break; what is shown begins at
    ``shown_from``.
    """

    checks: Sequence[ArtefactCheck]
    values: Sequence[Value]
    starts: Sequence[int]
    phases: Sequence[Phase]
    breaks: Sequence[Break]
    shown_from: int
    is_cut: bool
    is_form: bool

    @property
    def errors_um(self) -> list[float]:
        return [value.error_um for value in self.values]

    @property
    def shown(self) -> Sequence[ArtefactCheck]:
        return self.checks[self.shown_from :]


def series_of(
    system: MeasuringSystem,
    procedure: CheckProcedure,
    *,
    start: datetime,
    end: datetime,
    position: str = "",
) -> Series:
    """Return the values from an instant to another, with what bears on them before."""
    rows = counted_checks(system, procedure)
    window = _window(rows, start, end)
    checks = window[-(IN_CHART + LEAD_IN) :]
    values = values_of(checks, position)
    checks = [check for check in checks if check.pk in values]
    before = _phase_before(rows, checks, system) if checks else None
    breaks = _breaks(system, before, checks, end)
    firsts = {_first_after(one, checks): one for one in breaks}
    earlier = _Earlier(rows, before, breaks, position)
    return Series(
        checks=checks,
        values=[values[check.pk] for check in checks],
        starts=sorted(number for number in firsts if 0 < number < len(checks)),
        phases=_phases(checks, firsts, values, earlier),
        breaks=breaks,
        shown_from=next(
            (n for n, check in enumerate(checks) if check.ended_at >= start),
            len(checks),
        ),
        is_cut=len(window) > IN_CHART + LEAD_IN,
        is_form=Quantity(procedure.kind).is_form,
    )


def counted_checks(
    system: MeasuringSystem, procedure: CheckProcedure
) -> QuerySet[ArtefactCheck]:
    rows = ArtefactCheck.objects.filter(
        system=system, procedure__procedure=procedure, void=None
    )
    return rows.select_related("procedure__artefact", "procedure__procedure")


def values_of(checks: Iterable[ArtefactCheck], position: str = "") -> dict[int, Value]:
    """Return the value of each check that has readings of a position, by its key."""
    rows = CheckReading.objects.filter(artefact_check__in=[one.pk for one in checks])
    if position:
        rows = rows.filter(position=position)
    found: dict[int, list[tuple[float, float]]] = {}
    columns = ("artefact_check", "error_mm", "acceptance_limit_mm")
    for key, error_mm, accepted_mm in rows.values_list(*columns):
        found.setdefault(key, []).append((error_mm * 1000, accepted_mm * 1000))
    return {
        key: Value(fmean(error for error, _ in read), min(limit for _, limit in read))
        for key, read in found.items()
    }


def _window(
    rows: QuerySet[ArtefactCheck], start: datetime, end: datetime
) -> list[ArtefactCheck]:
    newest = rows.filter(ended_at__gte=start, ended_at__lte=end)
    found = list(newest.order_by("-ended_at", "-pk")[: IN_CHART + LEAD_IN + 1])
    if len(found) <= IN_CHART:
        lead = rows.filter(ended_at__lt=start).order_by("-ended_at", "-pk")
        found += lead[:LEAD_IN]
    return list(reversed(found))


def _phase_before(
    rows: QuerySet[ArtefactCheck],
    checks: Sequence[ArtefactCheck],
    system: MeasuringSystem,
) -> datetime | None:
    """Return when the phase of the first check began, or None for the very first."""
    first = checks[0]
    resets = system.breaks.filter(kind__in=Break.RESETTING, at__lte=first.started_at)
    others = rows.filter(ended_at__lt=first.ended_at).exclude(
        procedure__artefact=first.procedure.artefact_id
    )
    reset = resets.order_by("-at").values_list("at", flat=True).first()
    other = others.order_by("-ended_at").values_list("ended_at", flat=True).first()
    return max((at for at in (reset, other) if at is not None), default=None)


def _breaks(
    system: MeasuringSystem,
    before: datetime | None,
    checks: Sequence[ArtefactCheck],
    end: datetime,
) -> list[Break]:
    rows = system.breaks.filter(at__lte=end)
    if before is not None:
        rows = rows.filter(at__gte=before)
    return list(rows.order_by("at", "pk")) if checks else []


def _first_after(one: Break, checks: Sequence[ArtefactCheck]) -> int:
    return next(
        (n for n, check in enumerate(checks) if check.started_at >= one.at),
        len(checks),
    )


# --- Phases ---------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Earlier:
    """Where the values before the first one that is read can be found."""

    rows: QuerySet[ArtefactCheck]
    since: datetime | None
    breaks: Sequence[Break]
    position: str

    def begin(self, first: ArtefactCheck) -> list[ArtefactCheck]:
        """Return the checks with which the first check's phase began."""
        rows = self.rows.filter(ended_at__lte=first.ended_at)
        if self.since is not None:
            rows = rows.filter(started_at__gte=self.since)
        own = rows.filter(procedure__artefact=first.procedure.artefact_id)
        return list(own.order_by("ended_at", "pk")[: 2 * FULL_BASELINE])


def _phases(
    checks: Sequence[ArtefactCheck],
    firsts: dict[int, Break],
    values: dict[int, Value],
    earlier: _Earlier,
) -> list[Phase]:
    causes = {0: "the first check"} if checks else {}
    for number, one in firsts.items():
        if 0 < number < len(checks) and one.kind in Break.RESETTING:
            causes[number] = one.get_kind_display().lower()
    for number in range(1, len(checks)):
        artefact = checks[number].procedure.artefact
        if artefact != checks[number - 1].procedure.artefact:
            causes[number] = f"the change to {artefact.tag}"
    edges = [*sorted(causes), len(checks)]
    found = []
    for first, stop in pairwise(edges):
        begun, known = list(checks[first:stop]), values
        if first == 0:
            begun = _joined(earlier.begin(checks[0]), begun)
            unread = [one for one in begun if one.pk not in values]
            known = values | values_of(unread, earlier.position)
        begun = _until_full([one for one in begun if one.pk in known])
        found.append(
            _phase(first, stop, causes[first], begun, known, checks, earlier.breaks)
        )
    return found


def _joined(
    before: Sequence[ArtefactCheck], after: Sequence[ArtefactCheck]
) -> list[ArtefactCheck]:
    keys = {check.pk for check in before}
    return [*before, *(check for check in after if check.pk not in keys)]


def _until_full(begun: Sequence[ArtefactCheck]) -> list[ArtefactCheck]:
    """Return checks up to the one that makes the baseline full."""
    passed = 0
    for number, check in enumerate(begun, start=1):
        passed += check.passed
        if passed == FULL_BASELINE:
            return list(begun[:number])
    return list(begun)


def _phase(
    first: int,
    stop: int,
    cause: str,
    begun: Sequence[ArtefactCheck],
    values: dict[int, Value],
    checks: Sequence[ArtefactCheck],
    breaks: Sequence[Break],
) -> Phase:
    keys = {check.pk for check in begun}
    starts = {_first_after(one, begun) for one in breaks}
    return Phase(
        first=first,
        stop=stop,
        cause=cause,
        baseline=[values[check.pk].error_um for check in begun],
        left_out=[n for n, check in enumerate(begun) if not check.passed],
        baseline_starts=sorted(n for n in starts if 0 < n < len(begun)),
        in_baseline=sum(check.pk in keys for check in checks[first:stop]),
    )
