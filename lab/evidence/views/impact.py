"""Impact: what leans on a device, a calibration or a check, and what if."""

from __future__ import annotations

from datetime import datetime, time
from typing import Any

from django.http import HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from lab.accounts.http import Request
from lab.common import clock
from lab.common.charts import Period, period_asked_for
from lab.equipment.access import get_calibration_for, get_device_for
from lab.equipment.models import Calibration, Device
from lab.evidence.access import get_check_for
from lab.evidence.impact.leaning import leaning_on_check, leaning_on_device
from lab.evidence.impact.reading import read_only
from lab.evidence.impact.supposing import if_check_failed, if_device_was_wrong
from lab.evidence.impact.timeline import timeline_of
from lab.laboratory.selectors import home_zone

TEMPLATE = "evidence/impact.html"


@require_safe
def device(request: Request, tag: str) -> HttpResponse:
    found = get_device_for(request.user, tag)
    period = period_asked_for(request.GET)
    return _page(
        request,
        found,
        period,
        title=f"What leans on {found}",
        supposition=f"{found} had not measured right, {period.words}",
    )


def _counted_or_asked_for(request: Request, found: Calibration) -> Period:
    """Return the period that was asked for, or else the one that it counted in."""
    if {"from", "to"} & set(request.GET):
        return period_asked_for(request.GET)
    start, end = counted_for(found)
    return Period(start.date(), end.date())


@require_safe
def calibration(request: Request, pk: int) -> HttpResponse:
    found = get_calibration_for(request.user, pk)
    period = _counted_or_asked_for(request, found)
    number = found.certificate_number
    return _page(
        request,
        found.device,
        period,
        title=f"What leans on calibration {number}",
        supposition=f"calibration {number} of {found.device} had been wrong, "
        f"{period.words}",
        calibration=found,
    )


def _page(
    request: Request, found: Device, period: Period, *, title: str, **told: Any
) -> HttpResponse:
    """Show what leans on a device in a period, and what its being wrong would mean."""
    with read_only():
        leaning = leaning_on_device(found, period.start, period.end)
        supposed = None
        if "wrong" in request.GET:
            supposed = if_device_was_wrong(found, period.start, period.end, leaning)
        context = {
            "title": title,
            "device": found,
            "period": period,
            "leaning": leaning,
            "picture": timeline_of(leaning, title),
            "supposed": supposed,
            **told,
        }
        return render(request, TEMPLATE, context)


@require_safe
def check(request: Request, pk: int) -> HttpResponse:
    found = get_check_for(request.user, pk)
    with read_only():
        leaning = leaning_on_check(found)
        failed = "failed" in request.GET and found.passed
        context = {
            "title": f"What leans on check {found.pk} of {found.system}",
            "check": found,
            "leaning": leaning,
            "picture": timeline_of(leaning, f"What leans on check {found.pk}"),
            "supposed": if_check_failed(found, leaning) if failed else None,
            "supposition": f"check {found.pk} of {found.system} had failed",
        }
        return render(request, TEMPLATE, context)


def counted_for(found: Calibration) -> tuple[datetime, datetime]:
    """Return from when until when a calibration's values were or are used."""
    zone = home_zone()
    start = datetime.combine(found.counts_from, time.min, tzinfo=zone)
    later = found.device.calibrations.filter(
        counts_from__gt=found.counts_from, superseded_by=None
    )
    following = later.order_by("counts_from").first()
    if following is None:
        return start, max(start, clock.now().astimezone(zone))
    return start, datetime.combine(following.counts_from, time.min, tzinfo=zone)
