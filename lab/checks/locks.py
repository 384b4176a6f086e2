"""The first lock of whoever writes about a measuring system."""

from __future__ import annotations

from collections.abc import Iterable

from lab.checks.models import MeasuringSystem


def lock_systems(systems: Iterable[MeasuringSystem]) -> list[MeasuringSystem]:
    """Lock the rows of measuring systems for the caller's transaction.

    They are locked in the order of their keys, before any other row (DEVELOPERS.md,
    "Locks"), so that two who lock several can't wait for each other.
    """
    keys = {system.pk for system in systems}
    rows = MeasuringSystem.objects.select_for_update().filter(pk__in=keys)
    return list(rows.order_by("pk"))
