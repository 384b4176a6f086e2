"""The sum that is done for whoever assesses a session's conditions; nothing is written.

The part is corrected by its contact readings. How far the air was from those while it
was measured bounds how far the part can have been (:mod:`lab.metrology.thermal`).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

from lab.environment.finding import longest_step
from lab.environment.models import AirQuantity
from lab.environment.selectors.corrected import series_in
from lab.jobs.climate import limits_of, measured_windows
from lab.jobs.contact import U_CONTACT_K
from lab.jobs.models import MeasuringSession, PartTemperature
from lab.jobs.selectors import agreement_in_force
from lab.lapses.models import Finding
from lab.metrology.bracketing import FindingName
from lab.metrology.environment import Readings
from lab.metrology.thermal import (
    ConditionEffect,
    Expansion,
    condition_effect,
    deviation_in_gap,
)
from lab.parts.models import Characteristic

#: Where no limit of the rate is stated, air is taken to change no faster (common
#: practice, no source).
FASTEST_K_PER_H: Final = 2.0


@dataclass(frozen=True, slots=True)
class Effect:
    """What the conditions did at most to one characteristic."""

    characteristic: Characteristic
    bound: ConditionEffect

    @property
    def shift_um(self) -> float:
        return 1000 * self.bound.shift_mm

    @property
    def expanded_u_um(self) -> float:
        return 1000 * self.bound.expanded_u_mm

    @property
    def tolerance_um(self) -> float | None:
        tolerance = self.characteristic.tolerance
        if tolerance.lower is None or tolerance.upper is None:
            return None
        return 1000 * float(tolerance.upper - tolerance.lower)

    @property
    def share(self) -> float | None:
        """Return which share of the tolerance the bound takes with its uncertainty."""
        if not self.tolerance_um:
            return None
        return 1000 * self.bound.most_mm / self.tolerance_um


@dataclass(frozen=True, slots=True)
class Assessment:
    """The bound for a session: from which temperature, how far, and on what."""

    reference_degc: float
    deviation_k: float
    u_k: float
    basis: str
    effects: tuple[Effect, ...]


def open_findings(session: MeasuringSession) -> list[Finding]:
    """Return the findings on a session's conditions whose hold nobody has cleared."""
    rows = session.findings.filter(
        name=FindingName.CONDITIONS.value, hold__clearance=None
    )
    return list(rows.select_related("hold").order_by("pk"))


def assessment_of(session: MeasuringSession) -> Assessment | None:
    """Return the bound for a session; None where the air was never read."""
    read = _part_temperatures(session)
    series = _series(session)
    if not series:
        return None
    values = [float(value) for one in series for value in one.values]
    reference = sum(read) / len(read) if read else sum(values) / len(values)
    # Without a reading of the part nobody knows where in the air's range it was.
    u_k = (
        U_CONTACT_K if read else max(U_CONTACT_K, (max(values) - min(values)) / 12**0.5)
    )
    deviation = max(_deviations(session, series, reference), key=abs)
    source = (
        f"the mean of {len(read)} contact readings of the items"
        if read
        else "the mean of the air, since no item was read by contact"
    )
    return Assessment(
        reference_degc=reference,
        deviation_k=deviation,
        u_k=u_k,
        basis=f"Largest difference of the air from {reference:.2f} °C ({source}) while "
        f"it was measured, {deviation:+.2f} K, as though the part followed at once. "
        f"Gaps: the air is taken to change by up to {_fastest(session):g} K/h in them. "
        f"Standard uncertainty of the difference {u_k:.2f} K.",
        effects=tuple(_effects(session, deviation, u_k)),
    )


def _part_temperatures(session: MeasuringSession) -> list[float]:
    rows = PartTemperature.objects.filter(session=session, superseded_by=None)
    return [float(one.temperature.value) for one in rows]


def _series(session: MeasuringSession) -> list[Readings]:
    """Return what each sensor read from just before to just after the measuring."""
    windows = measured_windows(session)
    if not windows:
        return []
    around = longest_step(session.room)
    first, last = windows[0][0] - around, windows[-1][1] + around
    found = series_in(session.room, AirQuantity.TEMPERATURE, first, last)
    return [one.readings for one in found]


def _deviations(
    session: MeasuringSession, series: Sequence[Readings], reference: float
) -> Iterator[float]:
    """Yield how far the air was from a temperature: read, and at most within gaps."""
    fastest = _fastest(session)
    longest_s = longest_step(session.room).total_seconds()
    windows = measured_windows(session)
    first, last = windows[0][0].timestamp(), windows[-1][1].timestamp()
    for one in series:
        off = one.values - reference
        times = one.times_s
        yield float(max(off.min(), off.max(), key=abs))
        edges = [
            (first, float(off[0])),
            *zip(times.tolist(), off.tolist(), strict=True),
        ]
        edges.append((last, float(off[-1])))
        for (start, before), (end, after) in pairwise(edges):
            if end - start > longest_s:
                yield deviation_in_gap(before, after, end - start, fastest)


def _fastest(session: MeasuringSession) -> float:
    rates = [one.rate for one in limits_of(session)]
    stated = [float(rate.value) for rate in rates if rate is not None]
    return max([*stated, FASTEST_K_PER_H])


def _effects(
    session: MeasuringSession, deviation_k: float, u_k: float
) -> Iterator[Effect]:
    agreement = agreement_in_force(session.job)
    revision = agreement.part_revision if agreement else session.job.part_revision
    expansion = Expansion(
        float(revision.expansion.value), float(revision.expansion_u.value)
    )
    for one in revision.characteristics.all():
        length = abs(float(one.nominal.value))
        if not one.is_angle and not one.non_negative and length > 0.0:
            bound = condition_effect(length, expansion, deviation_k, u_k)
            yield Effect(one, bound)
