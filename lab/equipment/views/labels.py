"""Labels to print: of one device, or a sheet of several."""

from __future__ import annotations

from django.http import HttpResponse
from django.shortcuts import render
from django.utils.http import content_disposition_header
from django.views.decorators.http import require_safe

from lab.accounts.http import Request
from lab.common import clock
from lab.equipment.access import devices_for, get_device_for
from lab.equipment.forms import LabelsForm
from lab.equipment.labels import label_pdf, sheet_pdf
from lab.equipment.selectors import standings
from lab.laboratory.selectors import home_zone


@require_safe
def label(request: Request, tag: str) -> HttpResponse:
    found = get_device_for(request.user, tag)
    (standing,) = standings(devices_for(request.user).filter(pk=found.pk))
    return _pdf(label_pdf(standing, clock.today(home_zone())), f"label-{tag}.pdf")


@require_safe
def labels(request: Request) -> HttpResponse:
    """Show the choice of labels; with a choice made, hand out the sheet."""
    form = LabelsForm(request.GET if "used" in request.GET else None)
    rows = devices_for(request.user)
    if not form.is_bound or not form.is_valid():
        context = {"form": form, "standings": standings(rows)}
        status = 400 if form.is_bound else 200
        return render(request, "equipment/labels.html", context, status=status)
    chosen = standings(rows.filter(pk__in=form.cleaned_data["devices"]))
    today, used = clock.today(home_zone()), form.cleaned_data["used"]
    return _pdf(sheet_pdf(chosen, today, used=used), "labels.pdf")


def _pdf(content: bytes, name: str) -> HttpResponse:
    answer = HttpResponse(content, "application/pdf")
    answer["Content-Disposition"] = content_disposition_header(True, name)
    answer["X-Content-Type-Options"] = "nosniff"
    answer["Cache-Control"] = "private, no-store"
    return answer
