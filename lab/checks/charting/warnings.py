"""Which watched rules fire with one check, at its place among the others."""

from __future__ import annotations

from lab.checks.charting.control import Fired, control_of
from lab.checks.charting.series import series_of
from lab.checks.models import ArtefactCheck


def fired_with(check: ArtefactCheck) -> list[Fired]:
    """Return the rules that fire with a check, judged by those up to it alone."""
    if not check.procedure.watched:
        return []
    series = series_of(
        check.system,
        check.procedure.procedure,
        start=check.ended_at,
        end=check.ended_at,
    )
    place = next((n for n, one in enumerate(series.checks) if one.pk == check.pk), None)
    return [] if place is None else control_of(series).fired_at(place)
