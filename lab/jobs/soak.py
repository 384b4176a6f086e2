"""When an item will be at temperature, and whether it is, for its tightest length.

What must become small is the uncertainty that stays after the correction to 20 °C, not
the distance from it (:mod:`lab.metrology.soak`). A prediction only says when to come
back; the item is fit by contact readings alone.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Final

from lab.environment.air import AirNow, air_now
from lab.jobs.contact import U_CONTACT_K
from lab.jobs.models import Job, JobItem, PartTemperature
from lab.jobs.selectors import agreement_in_force
from lab.jobs.services.bodies import BodyEntry
from lab.metrology import soak
from lab.metrology.errors import MetrologyError
from lab.metrology.thermal import Expansion
from lab.parts.models import Characteristic

#: The share of the tolerance that the expanded uncertainty (k = 2) of the temperature
#: may take (common practice, no source).
SHARE_OF_TOLERANCE: Final = 0.1
#: After so long a part is read again while it is measured (common practice, no source).
READ_AGAIN: Final = timedelta(hours=1)
#: Readings count so long, and those of one round lie no further apart than this
#: (common practice, no source).
COUNTS_FOR: Final = timedelta(hours=2)
ONE_ROUND: Final = timedelta(minutes=15)
#: From this length or mass on a part is large and is read at several places (common
#: practice, no source).
LARGE_MM: Final = 1000.0
LARGE_KG: Final = 50.0
PLACES_ON_LARGE: Final = 3


@dataclass(frozen=True, slots=True)
class Tightest:
    """The characteristic that asks most of the temperature, and how much that is."""

    characteristic: Characteristic
    need: soak.SoakNeed

    def micrometres(self, off_k: float) -> float:
        """Return what so many kelvins would be on it, if they were not corrected."""
        return 1000 * self.need.length_mm * self.need.expansion.per_k * off_k

    def words(self, off_k: float) -> str:
        """Say that, as "0.8 K would be 18 µm on characteristic 12"."""
        return (
            f"{abs(off_k):.1f} K would be {abs(self.micrometres(off_k)):.0f} µm on "
            f"characteristic {self.characteristic.number}"
        )


@dataclass(frozen=True, slots=True)
class Standing:
    """An item's temperature: what was read, what that allows, and what is foreseen.

    ``ready_from`` to ``ready_until`` is the range of the prediction; ``refusal`` says
    why there is none.
    """

    item: JobItem
    tightest: Tightest | None
    round: tuple[PartTemperature, ...]
    wanted: int
    fitness: soak.Fitness | None
    air: AirNow | None
    start_degc: float | None = None
    start_at: datetime | None = None
    constant: soak.TimeConstant | None = None
    predicted: soak.SoakTime | None = None
    refusal: str = ""

    @property
    def is_fit(self) -> bool:
        """Tell whether fresh contact readings say that the item can be measured."""
        enough = len(self.round) >= self.wanted
        return enough and (self.fitness is None or self.fitness.is_fit)

    @property
    def what_was_read(self) -> str:
        """Say what the newest round of contact readings found."""
        if not self.round:
            return ""
        if self.fitness is None:
            return f"{self.item.serial} at {self.round[-1].temperature}, by contact."
        degc, left_um = self.fitness.mean_degc, 1000 * self.fitness.u_mm
        count = f"{len(self.round)} readings" if len(self.round) > 1 else "one reading"
        return (
            f"{self.item.serial} at {degc:.1f} °C by {count}; {left_um:.2g} µm (k = 1) "
            f"stay after correction, {1000 * self.fitness.allowed_u_mm:.2g} µm are "
            "allowed."
        )

    @property
    def what_is_missing(self) -> str:
        """Say why the item is not at temperature yet, and what it would mean."""
        serial = self.item.serial
        if self.fitness is not None and not self.fitness.is_fit:
            return self.what_was_read
        count = len(self.round)
        if count < self.wanted and self.wanted > 1:
            return (
                f"{serial} is large: {count} of {self.wanted} contact readings in the "
                f"last {COUNTS_FOR.total_seconds() / 3600:.0f} h, at several places."
            )
        means = f" {self.what_it_means}." if self.what_it_means else ""
        return f"No fresh contact reading of {serial}.{means}"

    @property
    def ready_from(self) -> datetime | None:
        return self._after(self.predicted.shortest_s if self.predicted else None)

    @property
    def ready_until(self) -> datetime | None:
        return self._after(self.predicted.longest_s if self.predicted else None)

    def _after(self, seconds: float | None) -> datetime | None:
        if seconds is None or self.start_at is None:
            return None
        return self.start_at + timedelta(seconds=seconds)

    @property
    def off_k(self) -> float | None:
        """Return how much warmer than the room the item was when it was last read."""
        if self.start_degc is None or self.air is None:
            return None
        return self.start_degc - self.air.degc

    @property
    def what_it_means(self) -> str:
        if self.tightest is None or self.off_k is None:
            return ""
        return self.tightest.words(self.off_k)


def tightest_of(job: Job) -> Tightest | None:
    """Return the length or diameter that leaves the least room for temperature."""
    agreement = agreement_in_force(job)
    revision = agreement.part_revision if agreement else job.part_revision
    expansion = Expansion(
        float(revision.expansion.value), float(revision.expansion_u.value)
    )
    found = [
        Tightest(one, need)
        for one in revision.characteristics.all()
        if (need := _need_of(one, expansion)) is not None
    ]
    return min(
        found, key=lambda one: one.need.allowed_u_mm / one.need.length_mm, default=None
    )


def standing_of(item: JobItem, at: datetime) -> Standing:
    """Return how an item stands with its temperature, and what is foreseen."""
    job = item.job
    tightest, air = tightest_of(job), air_now(job.room, at)
    rows = item.temperatures.filter(superseded_by=None, at__lte=at)
    readings = list(rows.select_related("thermometer").order_by("at", "pk"))
    fresh = tuple(one for one in _last_round(readings) if at - one.at <= COUNTS_FOR)
    found = Standing(item, tightest, fresh, places_wanted(item, tightest), None, air)
    if fresh and tightest is not None:
        found = replace(found, fitness=_fitness(tightest, fresh, air))
    return _foreseen(found, readings)


def places_wanted(item: JobItem, tightest: Tightest | None) -> int:
    """Return how many readings say that an item is at temperature."""
    mass = item.job.part_revision.mass
    newest = item.bodies.order_by("-pk").first()
    mass = newest.mass if newest is not None else mass
    is_heavy = mass is not None and float(mass.value) >= LARGE_KG
    is_long = tightest is not None and tightest.need.length_mm >= LARGE_MM
    return PLACES_ON_LARGE if is_heavy or is_long else 1


def assumptions(standing: Standing) -> list[str]:
    """Say what a prediction rests on, each in a sentence."""
    said = [
        f"Temperature may take {SHARE_OF_TOLERANCE:.0%} of the tolerance (k = 2).",
        f"A contact reading has a standard uncertainty of {U_CONTACT_K} K.",
        f"The part is read again after {READ_AGAIN.total_seconds() / 3600:.0f} h.",
    ]
    if standing.air is not None:
        said.append(f"Air: {standing.air.words}.")
    if standing.constant is not None:
        hours = standing.constant.shortest_s / 3600, standing.constant.longest_s / 3600
        said.append(
            f"Time constant {hours[0]:.2g} to {hours[1]:.2g} h, from "
            f"{standing.constant.origin}."
        )
    return said


# --- What is foreseen -----------------------------------------------------------------


def _need_of(one: Characteristic, expansion: Expansion) -> soak.SoakNeed | None:
    """Return what a characteristic asks; None where it has no length or one limit."""
    length, tolerance = abs(float(one.nominal.value)), one.tolerance
    if one.is_angle or one.non_negative or length == 0.0:
        return None
    if tolerance.lower is None or tolerance.upper is None:
        return None
    width = float(tolerance.upper - tolerance.lower)
    if width <= 0.0:
        return None
    return soak.SoakNeed(
        length_mm=length,
        allowed_u_mm=SHARE_OF_TOLERANCE * width / 2.0,
        expansion=expansion,
        u_sensor_k=U_CONTACT_K,
        measuring_s=READ_AGAIN.total_seconds(),
    )


def _last_round(readings: Sequence[PartTemperature]) -> list[PartTemperature]:
    if not readings:
        return []
    newest = readings[-1].at
    return [one for one in readings if newest - one.at <= ONE_ROUND]


def _fitness(
    tightest: Tightest, fresh: Sequence[PartTemperature], air: AirNow | None
) -> soak.Fitness:
    drift_k_per_h = abs(air.drift_k_per_h) if air is not None else 0.0
    change_k = drift_k_per_h * READ_AGAIN.total_seconds() / 3600
    degc = [float(one.temperature.value) for one in fresh]
    return soak.temperature_fitness(tightest.need, degc, change_k)


def _foreseen(found: Standing, readings: Sequence[PartTemperature]) -> Standing:
    """Add the prediction from the newest readings, or why there is none."""
    newest = found.item.bodies.order_by("-pk").first()
    start = _start(found.item, readings)
    tightest = found.tightest
    if tightest is None:
        return replace(found, refusal="No characteristic depends on the temperature.")
    if start is None:
        return replace(found, refusal="Nobody has read how warm it is.")
    start_degc, spread_k, start_at = start
    found = replace(found, start_degc=start_degc, start_at=start_at)
    if found.air is None:
        return replace(found, refusal="The room has no fresh reading.")
    if newest is None:
        return replace(
            found, refusal="Its mass, material and wall thickness are not recorded."
        )
    room = soak.Room(found.air.degc, found.air.drift_k_per_h)
    need = tightest.need
    try:
        body = BodyEntry.of(newest).body()
        constant = _constant(body, readings, room)
        predicted = soak.soak_time(body, constant, room, start_degc, need, spread_k)
    except MetrologyError as refusal:
        return replace(found, refusal=str(refusal))
    return replace(found, constant=constant, predicted=predicted)


def _constant(
    body: soak.Body, readings: Sequence[PartTemperature], room: soak.Room
) -> soak.TimeConstant:
    """Return the time constant by the readings if they tell it, else by the handbook.

    The room is taken as it is now throughout.
    """
    if readings:
        first = readings[0].at
        try:
            return soak.fit_time_constant(
                [(one.at - first).total_seconds() for one in readings],
                [float(one.temperature.value) for one in readings],
                room,
            )
        except MetrologyError:
            pass  # too few, or too late in the day to tell: what is known without
    return soak.time_constant(body)


def _start(
    item: JobItem, readings: Sequence[PartTemperature]
) -> tuple[float, float, datetime] | None:
    """Return mean, spread and time of the newest readings, or of the receipt."""
    last = _last_round(readings)
    if last:
        degc = [float(one.temperature.value) for one in last]
        return sum(degc) / len(degc), max(degc) - min(degc), last[-1].at
    receipt = getattr(item, "receipt", None)
    if receipt is None or receipt.temperature is None:
        return None
    return float(receipt.temperature.value), 0.0, receipt.at
