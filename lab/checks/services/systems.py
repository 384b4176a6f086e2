"""Measuring systems: a tracker and a scanner under one name."""

from __future__ import annotations

from typing import Any

from lab.accounts.models import User
from lab.checks.locks import lock_systems
from lab.checks.models import MeasuringSystem
from lab.common import audit
from lab.common.errors import NotAcceptable
from lab.common.services import service
from lab.common.texts import refuse_placeholder
from lab.equipment.models import Device, DeviceKind


@service(may="systems.change")
def add_system(
    *, name: str, tracker: Device, scanner: Device, acting_user: User
) -> MeasuringSystem:
    """Name a tracker and a scanner that measure together.

    Raises
    ------
    NotAcceptable
        If the name is taken, a device is of the wrong kind, or the two are a system.
    """
    tidy = _free_name(name)
    for field, device, kind in (
        ("tracker", tracker, DeviceKind.TRACKER),
        ("scanner", scanner, DeviceKind.SCANNER),
    ):
        if device.kind != kind:
            raise NotAcceptable(f"{device.tag} is no {kind.value}.", field=field)
    same = MeasuringSystem.objects.filter(tracker=tracker, scanner=scanner).first()
    if same is not None:
        raise NotAcceptable(
            f"{tracker.tag} and {scanner.tag} are {same} already.", field="scanner"
        )
    system = MeasuringSystem.objects.create(name=tidy, tracker=tracker, scanner=scanner)
    after = {"name": tidy, "tracker": tracker.tag, "scanner": scanner.tag}
    audit.record("system.added", system, actor=acting_user, after=after)
    return system


@service(may="systems.change")
def change_system(
    *, system: MeasuringSystem, name: str, in_use: bool, acting_user: User
) -> MeasuringSystem:
    """Name a system anew, or take it out of use; its devices stay what they are.

    Raises
    ------
    NotAcceptable
        If the name is taken.
    """
    (system,) = lock_systems([system])
    values: dict[str, Any] = {
        "name": _free_name(name, besides=system),
        "in_use": in_use,
    }
    before = {column: getattr(system, column) for column in values}
    if before == values:
        audit.nothing_changed()
        return system
    system.name, system.in_use = values["name"], in_use
    system.save(update_fields=list(values))
    audit.record(
        "system.changed", system, actor=acting_user, before=before, after=values
    )
    return system


def _free_name(name: str, *, besides: MeasuringSystem | None = None) -> str:
    tidy = refuse_placeholder(name, "name")
    others = MeasuringSystem.objects.exclude(pk=besides.pk if besides else 0)
    if others.filter(name__iexact=tidy).exists():
        raise NotAcceptable(f"There is a system called {tidy} already.", field="name")
    return tidy
