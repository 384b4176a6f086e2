"""How a calibrated value moves from one calibration to the next, and where it leads."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal

from lab.equipment.models import CalibratedValue, Calibration, Device, Requirement
from lab.equipment.references import value_at_20_mm
from lab.equipment.requirements import requirement_of
from lab.metrology.errors import MetrologyError
from lab.metrology.trend import TrendForecast, forecast_limit

AS_FOUND = CalibratedValue.Moment.AS_FOUND
#: A forecast beyond this is a straight line believed for too long (our own choice).
FARTHEST = timedelta(days=3650)


@dataclass(frozen=True, slots=True)
class Found:
    """One value by one certificate, at 20 °C (a correction: in kelvin)."""

    calibration: Calibration
    day: date
    value: Decimal
    expanded_u: Decimal
    was_found: bool


@dataclass(frozen=True, slots=True)
class Drift:
    """The history of one value of a device, counted from its reference.

    Errors are in micrometres for a length and in millikelvin for a correction.
    Values from before the last adjustment are shown, and not part of the trend.
    """

    device: Device
    label: str
    unit: str
    reference: Decimal
    reference_words: str
    limit: Decimal | None
    points: Sequence[Found]
    since: int

    def error(self, point: Found) -> Decimal:
        return (point.value - self.reference) * 1000

    @property
    def limit_shown(self) -> Decimal | None:
        return None if self.limit is None else self.limit * 1000

    @property
    def trend_points(self) -> Sequence[Found]:
        return self.points[self.since :]

    @property
    def forecast(self) -> TrendForecast | None:
        """Return the trend since the last adjustment; None if it can't be told."""
        if self.limit is None:
            return None
        shown = self.trend_points
        try:
            return forecast_limit(
                [point.day.toordinal() for point in shown],
                [float(self.error(point)) for point in shown],
                float(self.limit * 1000),
            )
        except MetrologyError:
            return None

    @property
    def expected_on(self) -> date | None:
        found = self.forecast
        return _day(found.expected_time if found else None, self)

    @property
    def earliest_on(self) -> date | None:
        """Return the day on which the 95 % band of the trend meets the limit."""
        found = self.forecast
        return _day(found.earliest_time if found else None, self)


def drifts_of(device: Device) -> list[Drift]:
    """Return the history of each value that more than one calibration states."""
    requirement = requirement_of(device)
    rows = (
        device.calibrations.filter(superseded_by=None)
        .exclude(acceptance__accepted=False)
        .prefetch_related("values", "corrections")
        .order_by("calibrated_on", "pk")
    )
    found: dict[tuple[str, str], list[Found]] = {}
    for calibration in rows:
        calibration.device = device  # spares a query for each value
        for key, point in _points(calibration):
            found.setdefault(key, []).append(point)
    return [
        _drift(device, label, unit, points, requirement)
        for (label, unit), points in found.items()
        if len({point.calibration.pk for point in points}) > 1
    ]


def _points(calibration: Calibration) -> list[tuple[tuple[str, str], Found]]:
    lengths = [
        (
            (value.label, "µm"),
            Found(
                calibration,
                calibration.calibrated_on,
                value_at_20_mm(value),
                value.expanded_u.value,
                value.moment == AS_FOUND,
            ),
        )
        for value in calibration.values.all()
    ]
    corrections = [
        (
            (f"Correction at {row.reading.value.normalize():f} °C", "mK"),
            Found(
                calibration,
                calibration.calibrated_on,
                row.correction.value,
                row.expanded_u.value,
                row.moment == AS_FOUND,
            ),
        )
        for row in calibration.corrections.all()
    ]
    both = [*lengths, *corrections]
    return sorted(both, key=lambda pair: not pair[1].was_found)


def _drift(
    device: Device,
    label: str,
    unit: str,
    points: list[Found],
    requirement: Requirement | None,
) -> Drift:
    reference, words = points[0].value, "the first calibration"
    limit = None
    if unit == "mK":
        reference, words = Decimal(0), "no correction"
        if requirement and requirement.largest_correction:
            limit = requirement.largest_correction.value
    elif requirement and requirement.label in {"", label}:
        limit = requirement.limit.value if requirement.limit else None
        if requirement.reference is not None:
            reference = requirement.reference.value
            words = "the reference of the requirement"
    return Drift(
        device=device,
        label=label,
        unit=unit,
        reference=reference,
        reference_words=words,
        limit=limit,
        points=points,
        since=_since_adjustment(points),
    )


def _since_adjustment(points: Sequence[Found]) -> int:
    """Return where the history begins anew: what was left by the last adjustment."""
    since = 0
    for place, point in enumerate(points):
        if point.calibration.adjusted and not point.was_found:
            since = place
    return since


def _day(ordinal: float | None, drift: Drift) -> date | None:
    if ordinal is None:
        return None
    last = drift.trend_points[-1].day
    if ordinal > last.toordinal() + FARTHEST.days:
        return None
    return date.fromordinal(int(ordinal))
