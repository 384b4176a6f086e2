"""Readiness: may this job be measured now, and if not, what is missing?

Each gate is one small function of the facts; :data:`GATES` is the whole table. Hard
gates (method, authorisation, contract, calibration) can't be passed over by anybody.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final

from django.urls import reverse

from lab.accounts.models import User
from lab.checks.models import MeasuringSystem
from lab.checks.selectors import newest_procedures, standing
from lab.environment.air import room_air
from lab.environment.selectors import conditions
from lab.equipment.selectors import (
    current_calibration,
    is_in_service,
    restrictions_of,
)
from lab.jobs.models import Agreement, Job
from lab.jobs.selectors import (
    agreement_in_force,
    agreement_is_outdated,
    items_here,
    items_with_custody,
    open_holds,
)
from lab.jobs.soak import standing_of
from lab.laboratory.models import Activity, ClimateLimits
from lab.laboratory.selectors import is_authorised, revision_at

#: How old a reading of the room may be (common practice, no source).
FRESH: Final = timedelta(hours=1)


@dataclass(frozen=True, slots=True)
class Gate:
    """One condition of readiness: met or not, why, from when on, and where to mend it.

    ``ready_at`` is set where it can be computed, with ``ready_until`` where that is a
    range; ``url`` leads to what meets the gate.
    """

    name: str
    met: bool
    reason: str
    ready_at: datetime | None = None
    ready_until: datetime | None = None
    url: str = ""
    hard: bool = False

    @property
    def word(self) -> str:
        return "met" if self.met else "not met"

    @property
    def shape(self) -> str:
        return "state-good" if self.met else "state-bad"


@dataclass(frozen=True, slots=True)
class Facts:
    """What the gates look at: a job, who would measure it, with what, and when."""

    job: Job
    person: User
    system: MeasuringSystem | None
    agreement: Agreement | None
    at: datetime

    def page(self, name: str, *keys: object) -> str:
        return reverse(name, args=keys)


def readiness(
    job: Job, *, person: User, system: MeasuringSystem | None, at: datetime
) -> list[Gate]:
    """Return every gate of a job for somebody who would measure it now."""
    facts = Facts(job, person, system, agreement_in_force(job), at)
    return [gate(facts) for gate in GATES]


def contract(facts: Facts) -> Gate:
    name, url = "Contract reviewed", facts.page("jobs:agree", facts.job.number)
    if facts.agreement is None:
        return Gate(name, False, "Nothing is agreed yet.", url=url, hard=True)
    if agreement_is_outdated(facts.job, facts.agreement):
        reason = "The drawing was recorded anew since; it has to be agreed again."
        return Gate(name, False, reason, url=url, hard=True)
    said = f"Review {facts.agreement.number} of {facts.agreement.agreed_on:%Y-%m-%d}."
    return Gate(name, True, said, url=url, hard=True)


def method(facts: Facts) -> Gate:
    name = "Method valid"
    if facts.agreement is None:
        return Gate(name, False, "No method is agreed.", hard=True)
    agreed = facts.agreement.method
    url = facts.page("laboratory:method", agreed.method.code)
    present = revision_at(agreed.method, facts.at)
    if present is None:
        reason = f"{agreed.method.code} is not in force today."
        return Gate(name, False, reason, url=url, hard=True)
    if present.pk != agreed.pk:
        reason = f"Agreed was {agreed}; in force is revision {present.revision}."
        return Gate(name, False, reason, url=url, hard=True)
    return Gate(name, True, f"{agreed}.", url=url, hard=True)


def authorisation(facts: Facts) -> Gate:
    name, url = "You are authorised", facts.page("laboratory:authorisations")
    if facts.agreement is None:
        return Gate(name, False, "No method is agreed.", hard=True)
    agreed = facts.agreement.method.method
    if is_authorised(facts.person, agreed, Activity.MEASURE, facts.at):
        reason = f"To measure by {agreed.code}."
        return Gate(name, True, reason, url=url, hard=True)
    reason = f"Not to measure by {agreed.code}; the quality manager grants it."
    return Gate(name, False, reason, url=url, hard=True)


def received(facts: Facts) -> Gate:
    name = "Items received, undamaged"
    url = facts.page("board:job", facts.job.number) + "#items"
    items = list(items_with_custody(facts.job))
    missing = [item.serial for item in items if not hasattr(item, "receipt")]
    if missing:
        return Gate(name, False, f"Not here: {', '.join(missing)}.", url=url)
    damaged = [item.serial for item in items if item.receipt.damaged]
    if damaged:
        return Gate(name, False, f"Damaged: {', '.join(damaged)}.", url=url)
    count = "The item is" if len(items) == 1 else f"All {len(items)} items are"
    return Gate(name, True, f"{count} here.", url=url)


def at_temperature(facts: Facts) -> Gate:
    """Say whether every item is at temperature; a prediction only fills the times."""
    name = "Part at temperature"
    url = facts.page("jobs:temperature", facts.job.number)
    here = [standing_of(item, facts.at) for item in items_here(facts.job)]
    if not here:
        return Gate(name, False, "No item is here.", url=url)
    missing = [one for one in here if not one.is_fit]
    if not missing:
        return Gate(name, True, here[0].what_was_read, url=url)
    foreseen = [one for one in missing if one.predicted is not None]
    if len(foreseen) < len(missing):
        return Gate(name, False, missing[0].what_is_missing, url=url)
    return Gate(
        name,
        False,
        missing[0].what_is_missing,
        ready_at=max(one.ready_from or facts.at for one in foreseen),
        ready_until=max(one.ready_until or facts.at for one in foreseen),
        url=url,
    )


def calibrations(facts: Facts) -> Gate:
    name = "Calibrations current"
    if facts.system is None:
        return _no_system(name, hard=True)
    devices = [facts.system.tracker, facts.system.scanner]
    devices += [revision.artefact for revision in newest_procedures(facts.system)]
    for device in devices:
        url = facts.page("equipment:detail", device.tag)
        if not is_in_service(device):
            reason = f"{device.tag} is out of service."
            return Gate(name, False, reason, url=url, hard=True)
        if current_calibration(device, facts.at) is None:
            reason = f"{device.tag} has no current calibration."
            return Gate(name, False, reason, url=url, hard=True)
    tags = ", ".join(dict.fromkeys(device.tag for device in devices))
    limits = "".join(f" Restricted: {said}" for said in restrictions_of(devices))
    return Gate(name, True, f"{tags}.{limits}", hard=True)


def checked(facts: Facts) -> Gate:
    name = "Artefact check valid"
    if facts.system is None:
        return _no_system(name)
    url = facts.page("checks:system", facts.system.pk)
    standings = standing(facts.system, facts.at)
    if not standings:
        reason = "No check procedure is set up for the system."
        return Gate(name, False, reason, url=url)
    bad = [one for one in standings if one.state != "valid"]
    if bad:
        return Gate(name, False, bad[0].reason, url=url)
    soonest = min(standings, key=lambda one: one.valid_until or facts.at)
    return Gate(name, True, soonest.reason, url=url)


def room(facts: Facts) -> Gate:
    """Say whether the room is inside its limits and steady, by fresh readings."""
    name, place = "Room inside its limits", facts.job.room
    url = facts.page("board:air", place.pk)
    limits: list[ClimateLimits] = [place]
    if facts.agreement is not None:
        limits.append(facts.agreement.method)
    air = room_air(place, facts.at)
    if air is None or air.is_stale:
        # Where the loggers are silent, what was read by hand counts.
        return _room_by_hand(facts, limits)
    wrong = [said for limit in limits for said in air.outside(limit)]
    if wrong:
        return Gate(name, False, f"{wrong[0]}.", url=url)
    reason = f"{place.name} at {air.value_text}, {air.rate_text}."
    return Gate(name, True, reason, url=url)


def _room_by_hand(facts: Facts, limits: Sequence[ClimateLimits]) -> Gate:
    name, place = "Room inside its limits", facts.job.room
    url = facts.page("environment:room", place.pk)
    found = conditions(place, facts.at - FRESH, facts.at)
    if found is None:
        return Gate(
            name, False, f"No reading of {place.name} in the last hour.", url=url
        )
    lowest, highest = found.temperature_lowest, found.temperature_highest
    for limit in limits:
        low, high = limit.temperature_lowest, limit.temperature_highest
        if lowest.value < low.value or highest.value > high.value:
            reason = f"{lowest} to {highest}; allowed is {low} to {high}."
            return Gate(name, False, reason, url=url)
    return Gate(name, True, f"{place.name} at {highest}.", url=url)


def no_holds(facts: Facts) -> Gate:
    url = facts.page("board:job", facts.job.number) + "#holds"
    holds = list(open_holds(facts.job))
    if not holds:
        return Gate("No open holds", True, "Nothing holds the job.", url=url)
    more = f", and {len(holds) - 1} more" if len(holds) > 1 else ""
    return Gate("No open holds", False, f"{holds[0].title}{more}.", url=url)


#: The whole table, in the order in which a person meets them.
GATES: Final[tuple[Callable[[Facts], Gate], ...]] = (
    contract,
    method,
    authorisation,
    received,
    at_temperature,
    calibrations,
    checked,
    room,
    no_holds,
)


def _no_system(name: str, *, hard: bool = False) -> Gate:
    url = reverse("checks:list")
    return Gate(name, False, "No measuring system is in use.", url=url, hard=hard)
