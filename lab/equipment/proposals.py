"""Which interval each device should have, by the rule of its family, and why."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from lab.equipment.drift import Drift, drifts_of
from lab.equipment.models import CALIBRATED, Calibration, Device, IntervalRule
from lab.metrology.errors import MetrologyError
from lab.metrology.intervals import due_on, interval_from_drift, staircase

DAYS_IN_MONTH = 365.25 / 12


@dataclass(frozen=True, slots=True)
class Proposal:
    """The interval that a device has, the one that its rule proposes, and why."""

    device: Device
    rule: IntervalRule | None
    present_months: int | None
    months: int | None
    reason: str
    drift: Drift | None = None

    @property
    def is_change(self) -> bool:
        return self.months is not None and self.months != self.present_months

    def due_after(self, day: date) -> date | None:
        """Return the last day of a calibration made on a day, as proposed."""
        return None if self.months is None else due_on(day, self.months)


def rules() -> dict[str, IntervalRule]:
    """Return the rule of each family that has one: its newest."""
    newest: dict[str, IntervalRule] = {}
    for rule in IntervalRule.objects.order_by("pk"):
        newest[rule.family] = rule
    return newest


def proposals(devices: Iterable[Device] | None = None) -> list[Proposal]:
    """Return what the rules propose, for the devices given or for all calibrated."""
    known = rules()
    if devices is None:
        devices = Device.objects.filter(kind__in=CALIBRATED)
    return [proposal_for(device, known.get(device.kind)) for device in devices]


def proposal_for(device: Device, rule: IntervalRule | None) -> Proposal:
    """Return what a rule proposes for one device."""
    newest = device.calibrations.filter(superseded_by=None).first()
    present = None if newest is None else months_between(newest)
    if rule is None:
        return Proposal(device, None, present, None, "Its family has no rule yet.")
    if rule.method == IntervalRule.Method.FIXED:
        words = f"Fixed by the rule of its family: {rule.reason}"
        return Proposal(device, rule, present, rule.months, words)
    return _from_history(device, rule, present)


def _from_history(device: Device, rule: IntervalRule, present: int | None) -> Proposal:
    """Ask each value of the device; the shortest interval counts."""
    asked = [
        proposal
        for drift in drifts_of(device)
        if drift.limit is not None
        and (proposal := _from_drift(drift, rule, present)) is not None
    ]
    if asked:
        return min(asked, key=lambda one: one.months or 0)
    return Proposal(
        device,
        rule,
        present,
        rule.months,
        "Too few calibrations, or no limit to judge them by: the family's interval.",
    )


def _from_drift(
    drift: Drift, rule: IntervalRule, present: int | None
) -> Proposal | None:
    now = min(max(present or rule.months, rule.shortest_months), rule.longest_months)
    try:
        if rule.method == IntervalRule.Method.STAIRCASE:
            shares = shares_of_limit(drift)
            stepped = staircase(shares, now, rule.policy())
            months, reason = stepped.months, stepped.reason
        else:
            points = drift.trend_points
            advice = interval_from_drift(
                [point.day for point in points],
                [float(drift.error(point)) for point in points],
                float(drift.limit_shown or 0),
                now,
                rule.policy(),
            )
            months, reason = advice.months, advice.reason
    except MetrologyError:
        return None
    words = f"{drift.label}: {reason}"
    return Proposal(drift.device, rule, present, months, words, drift)


def shares_of_limit(drift: Drift) -> list[float]:
    """Return how far a value moved in each interval, over its limit, oldest first.

    A value that is used as calibrated errs at the end of its interval by what it has
    moved since; what was found counts, or what was left where nothing else is stated.
    """
    limit = float(drift.limit or 0)
    shares = []
    left = None
    seen = set()
    for point in drift.points:
        first_of_calibration = point.calibration.pk not in seen
        seen.add(point.calibration.pk)
        if left is not None and first_of_calibration:
            shares.append(abs(float(point.value - left)) / limit)
        left = point.value
    return shares


def months_between(calibration: Calibration) -> int:
    """Return the interval of a calibration in whole months, as near as it gets."""
    days = (calibration.due_on - calibration.calibrated_on).days
    return max(1, round(days / DAYS_IN_MONTH))
