"""What the measuring systems say of a device, on its page of the board."""

from __future__ import annotations

from typing import Final

from django.db.models import Q

from lab.accounts.models import User
from lab.checks.models import Break, MeasuringSystem
from lab.common.panels import Panel
from lab.equipment.models import Device

#: So many breaks are shown; the page of a system has all of them.
NEWEST: Final = 50


def systems_with(user: User, device: Device) -> Panel | None:
    """Return the measuring systems whose tracker or scanner a device is."""
    if not user.may("checks.see"):
        return None
    rows = MeasuringSystem.objects.filter(Q(tracker=device) | Q(scanner=device))
    context = {"systems": rows.select_related("tracker", "scanner")}
    return Panel("Measuring systems with it", "checks/panels/systems.html", context)


def breaks_of(user: User, device: Device) -> Panel | None:
    """Return the breaks of these systems: of the device itself, and of the others."""
    if not user.may("checks.see"):
        return None
    with_it = Q(system__tracker=device) | Q(system__scanner=device)
    rows = Break.objects.filter(with_it).select_related("system", "recorded_by")
    context = {"breaks": rows[:NEWEST]}
    return Panel("Breaks of these systems", "checks/panels/breaks.html", context)
